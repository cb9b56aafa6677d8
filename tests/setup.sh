# Sourced by tests/run and .ci/run: finds Python, Chromium and Node, makes a virtual environment. Needs $root.

say() { printf '%s\n' "== $*" >&2; }

can_install() { [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null 2>&1; }

# Debian packages; one update of the lists per run
install_packages() {
    if [ -z "${lists_updated:-}" ]; then
        DEBIAN_FRONTEND=noninteractive apt-get -q update >&2 </dev/null || return 1
        lists_updated=yes
    fi
    DEBIAN_FRONTEND=noninteractive apt-get -q -y install --no-install-recommends "$@" >&2 </dev/null
}

# Sets $python to an interpreter of version 3.11 or later
find_python() {
    local candidate
    for candidate in ${SWARFLINE_PYTHON:-} python3 python3.14 python3.13 python3.12 python3.11; do
        if command -v "$candidate" >/dev/null 2>&1 &&
            "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            python=$candidate
            return
        fi
    done
    if [ -z "${python_installed:-}" ] && can_install; then
        python_installed=yes
        install_packages python3 python3-venv && find_python && return
    fi
    say "no Python 3.11 or later found; install one, or name it: SWARFLINE_PYTHON=/path/to/python3"
    return 1
}

# make_venv FOLDER: a virtual environment with pip
make_venv() {
    if "$python" -c 'import ensurepip, venv' 2>/dev/null; then
        "$python" -m venv "$1"
        return
    fi
    local package
    package="python$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')-venv"
    if can_install; then
        say "installing $package"
        install_packages "$package" && "$python" -m venv "$1" && return
    fi
    say "this Python cannot make virtual environments; install the package $package:"
    say "    apt-get install $package"
    return 1
}

# install_project FOLDER [EXTRAS]: the checkout, editable, by default with what its tests need; nothing when that
# is done already
install_project() {
    local mark wanted extras
    extras=${2-[dev]}
    mark="$1/.swarfline-installed$extras"
    wanted="$root $(cksum <"$root/pyproject.toml") $(cksum <"$root/deploy/build_hook.py")"
    if [ -f "$mark" ] && [ "$(cat "$mark")" = "$wanted" ] && [ -f "$root/$chart_library" ]; then
        return
    fi
    say "installing the checkout into $1"
    "$1/bin/python" -m pip install -q --disable-pip-version-check -e "$root$extras" </dev/null
    printf '%s' "$wanted" >"$mark"
}

chart_library=service/swarfline/serve/page/lib/plotly.min.js

# Exports SWARFLINE_CHROMIUM; without a browser the tests marked so are skipped, and that is said
find_chromium() {
    local candidate
    for candidate in ${SWARFLINE_CHROMIUM:-} chromium chromium-browser google-chrome; do
        if command -v "$candidate" >/dev/null 2>&1; then
            SWARFLINE_CHROMIUM=$(command -v "$candidate")
            export SWARFLINE_CHROMIUM
            return
        fi
    done
    if [ -z "${chromium_installed:-}" ] && can_install; then
        chromium_installed=yes
        say "installing chromium for the browser tests"
        install_packages chromium && find_chromium && return
    fi
    unset SWARFLINE_CHROMIUM
    say "NO CHROMIUM FOUND: THE BROWSER TESTS ARE SKIPPED."
    say "Install chromium, or name it: SWARFLINE_CHROMIUM=/path/to/chromium"
}

# Installs what tests/peers/package-lock.json names, when that has changed; without Node.js the tests with peers are
# skipped, and that is said
install_peers() {
    local peers mark wanted
    peers=$root/tests/peers
    mark=$peers/node_modules/.swarfline-installed
    wanted=$(cksum <"$peers/package-lock.json")
    if [ -f "$mark" ] && [ "$(cat "$mark")" = "$wanted" ] && command -v node >/dev/null 2>&1; then
        return
    fi
    if ! command -v npm >/dev/null 2>&1 && can_install; then
        say "installing Node.js for the tests with peers"
        install_packages nodejs npm || true
    fi
    if command -v npm >/dev/null 2>&1; then
        say "installing node-opcua and axe-core into tests/peers/node_modules"
        if npm ci --prefix "$peers" --ignore-scripts --no-audit --no-fund --loglevel=error >&2 </dev/null; then
            printf '%s' "$wanted" >"$mark"
            return
        fi
    fi
    say "NO NODE.JS OR NO NODE-OPCUA: THE TESTS WITH PEERS AND OF ACCESSIBILITY ARE SKIPPED (where CI is true they fail)."
    say "Install Node.js 18 or later with npm, and see that npm reaches its registry."
}
