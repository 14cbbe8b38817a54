#!/bin/sh
# Puts the system libraries in place that the tracer is built with; elsewhere says in one line what would do.
set -eu

packages="g++ pkg-config python3-dev python3-venv libpotrace-dev libagg-dev"

"${PYTHON:-python3}" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' || {
    echo "Friezewright needs Python 3.11, 3.12 or 3.13; set PYTHON to one of them: make PYTHON=python3.12 ..." >&2
    exit 1
}

if [ "$(uname -s)" != Linux ]; then
    exit 0 # The pure-Python tracer serves here; nothing has to be built.
fi
if ! command -v dpkg-query >/dev/null 2>&1; then
    echo "Not a Debian-like system: if the tracer fails to build, install a C++ compiler and the development files of potrace and agg." >&2
    exit 0
fi

missing=""
for package in $packages; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'install ok installed' || missing="$missing $package"
done
if [ -z "$missing" ]; then
    exit 0
fi
if [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null 2>&1; then
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -qq
    # shellcheck disable=SC2086 # a list of words is meant
    apt-get install -y -qq --no-install-recommends $missing >/dev/null
else
    echo "System libraries are missing. Please run once: sudo apt-get install -y$missing" >&2
    exit 1
fi
