#!/usr/bin/env bash
# Sets up a virtual environment in .venv (half a minute to a minute the first time) and runs the demo in it.
#     bash deploy/demo.sh [--days 14] [--port 8750] [--dir FOLDER] [--no-browser]
set -euo pipefail

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
. "$root/tests/setup.sh"

venv=${SWARFLINE_VENV:-$root/.venv}
if [ ! -x "$venv/bin/pip" ]; then
    find_python
    make_venv "$venv"
fi
install_project "$venv" ""
exec "$venv/bin/swarfline" demo "$@"
