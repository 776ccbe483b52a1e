#!/bin/sh
# Makes .venv in this checkout and installs duskhold into it. Safe to run again: with nothing to do it takes a moment.
#
#   sh config/bootstrap.sh         what is needed to run
#   sh config/bootstrap.sh test    what is needed to run the tests as well
#
# PYTHON names the interpreter to use; without it, python3 is taken. Everything it says goes to standard error.
set -eu

say() { printf '%s\n' "bootstrap: $*" >&2; }
fail() { say "$@"; exit 1; }

case "${1:-}" in
    "") extra="" ;;
    test) extra="test" ;;
    *) fail "usage: sh config/bootstrap.sh [test]" ;;
esac

checkout=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$checkout"
python=${PYTHON:-python3}
stamp=".venv/.installed${extra:+-$extra}"

command -v "$python" >/dev/null 2>&1 || fail "no $python here: install Python 3.11 or newer, or name it with PYTHON=..."
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
    fail "$("$python" --version) is too old: Python 3.11 or newer is needed; name another one with PYTHON=..."

as_root() {
    if [ "$(id -u)" -eq 0 ]; then
        "$@"
    elif command -v sudo >/dev/null 2>&1; then
        sudo "$@"
    else
        fail "root is needed for: $*"
    fi
}

# What the tests read side files and copies with.
if [ "$extra" = test ]; then
    missing=""
    command -v exiftool >/dev/null 2>&1 || missing="libimage-exiftool-perl"
    command -v exiv2 >/dev/null 2>&1 || missing="$missing exiv2"
    if [ -n "$missing" ] && command -v apt-get >/dev/null 2>&1; then
        say "installing Debian packages for the tests: $missing"
        # shellcheck disable=SC2086
        as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q $missing >&2 ||
            { as_root env DEBIAN_FRONTEND=noninteractive apt-get update -q >&2 && as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q $missing >&2; } ||
            fail "apt-get could not install $missing"
    elif [ -n "$missing" ]; then
        say "the tests of side files need these, and there is no apt-get: $missing"
    fi
fi

# What an installation depends on: where it lies, with which Python it was made, and what it asks for.
wanted=$({ pwd; "$python" --version; cat pyproject.toml; } | cksum)
if [ -x .venv/bin/python ] && [ "$(cat "$stamp" 2>/dev/null)" = "$wanted" ] && .venv/bin/python -c '' 2>/dev/null; then
    exit 0
fi

# Debian splits this off; without it a virtual environment has no pip.
if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
    package=$("$python" -c 'import sys; print("python3.%d-venv" % sys.version_info[1])')
    command -v apt-get >/dev/null 2>&1 || fail "$python has no venv module, and there is no apt-get to install it with"
    say "installing the Debian package $package, which $python lacks"
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q "$package" >&2 ||
        { as_root env DEBIAN_FRONTEND=noninteractive apt-get update -q >&2 && as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q "$package" >&2; } ||
        fail "apt-get could not install $package"
fi

if ! .venv/bin/python -c 'import pip' 2>/dev/null; then
    say "making the virtual environment $checkout/.venv"
    "$python" -m venv --clear .venv
fi

say "installing duskhold and its libraries (the first time takes a few minutes)"
.venv/bin/python -m pip install --quiet --disable-pip-version-check --editable ".${extra:+[$extra]}" >&2
rm -f .venv/.installed .venv/.installed-test
printf '%s\n' "$wanted" >"$stamp"
[ "$extra" = "" ] || printf '%s\n' "$wanted" >.venv/.installed
say "done: .venv/bin/duskhold --help"
