# Sourced by `try` and `check`, in the project's folder: a virtual environment with the project in it.

fail() {
    printf 'warmheap: %s\n' "$1" >&2
    exit 1
}

# environment FOLDER REQUIREMENT: make FOLDER and install REQUIREMENT, unless that is done and nothing has changed.
environment() {
    stamp="$PWD $2 $(cksum <pyproject.toml)"
    if [ "$(cat "$1/installed" 2>/dev/null)" = "$stamp" ] && "$1/bin/python" -c '' >/dev/null 2>&1; then
        return
    fi
    python=$(find_python) || fail "needs Python 3.11 or newer, and found none; install it, or set PYTHON to its path"
    "$python" -c 'import ensurepip, venv' 2>/dev/null ||
        fail "$python lacks its venv module; on Debian and Ubuntu: apt install python3-venv"
    mkdir -p "$1" 2>/dev/null && : 2>/dev/null >"$1/install.log" ||
        fail "cannot write to $PWD/$1; copy the project into a folder of your own and start it there"
    echo "Making a Python environment in $1"
    said=$("$python" -m venv --clear "$1" 2>&1) || fail "could not make $1: $(printf '%s' "$said" | tail -n 1)"
    install "$1" "$2"
    compile "$1"
    printf '%s\n' "$stamp" >"$1/installed"
}

find_python() {
    for python in "${PYTHON:-python3}" python3 python3.14 python3.13 python3.12 python3.11; do
        if "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$python"
            return
        fi
    done
    return 1
}

# Installs with pip, naming each package as it comes; everything pip says goes to FOLDER/install.log.
install() {
    echo "Installing (once, a minute or two; all that is said goes to $1/install.log)"
    {
        "$1/bin/python" -m pip install --no-input --disable-pip-version-check --progress-bar off \
            --retries 1 --timeout 20 --editable "$2" 2>&1 || echo "pip gave up"
    } | tee "$1/install.log" | while read -r word what _; do
        case "$word $what" in
        Collecting*) echo "  fetching ${what%%[<>=!~;]*}" ;;
        "Installing collected") echo "  putting it all in place" ;;
        esac
    done
    grep -q '^pip gave up' "$1/install.log" || return 0
    if grep -q -i -E 'connection|resolve|network|timed out|proxy' "$1/install.log"; then
        fail "could not reach the package index; connect to the internet and start again"
    fi
    fail "installing failed: $(grep '^ERROR' "$1/install.log" | tail -n 1) (the rest is in $1/install.log)"
}

# One forecast compiles the pile's model, so that the first answer in the chat need not wait for it.
compile() {
    echo "Compiling the pile's model (once)"
    ingredients='[{"material": "straw", "litres": 900}]'
    echo '{"pile": "first", "built": "2026-03-01", "size_cm": [100, 100, 100], "ingredients": '"$ingredients"'}' |
        "$1/bin/warmheap" forecast - >>"$1/install.log" 2>&1 ||
        fail "installed, but it does not run: $(tail -n 1 "$1/install.log")"
}
