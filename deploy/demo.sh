#!/usr/bin/env bash
# Sets up a virtual environment in .venv (half a minute to a minute the first time) and runs the demo in it.
#     bash deploy/demo.sh [--days 14] [--port 8750] [--dir FOLDER] [--no-browser]
set -euo pipefail

case " $* " in
*" --help "* | *" -h "*)
    # said without installing anything
    sed -n '2,3s/^# \{0,1\}//p' "$0"
    printf '%s\n' "" "The other words are those of \`swarfline demo\`, which .venv/bin/swarfline demo --help tells in full." \
        "It reads a simulator that it starts itself, listens on this machine only, and ends with Ctrl+C."
    exit
    ;;
esac

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
. "$root/tests/setup.sh"

venv=${SWARFLINE_VENV:-$root/.venv}
if [ ! -x "$venv/bin/pip" ]; then
    find_python
    make_venv "$venv"
fi
install_project "$venv" ""
exec "$venv/bin/swarfline" demo "$@"
