"""A simulator that was started as a child ends with its parent, however that died."""

import subprocess
import sys


def test_the_end_of_standard_input_ends_it():
    command = [sys.executable, "-m", "swarfline_sim", "serve", "--port", "0", "--machines", "N1"]
    process = subprocess.Popen([*command, "--with-stdin"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    try:
        assert process.stdout.readline().startswith(b"swarfline-sim ready")
        process.stdin.write(b"more\n")
        process.stdin.flush()
        assert process.poll() is None
        process.stdin.close()
        assert process.wait(20) == 0
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def test_without_being_told_it_does_not_look_at_standard_input():
    command = [sys.executable, "-m", "swarfline_sim", "serve", "--port", "0", "--machines", "N1"]
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE)
    try:
        assert process.stdout.readline().startswith(b"swarfline-sim ready")
        assert process.poll() is None
        process.terminate()
        assert process.wait(20) == 0
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
