#!/bin/sh
# Install the named Debian packages that are missing. Ends with 1, and says what to do, where that is not possible.
set -eu

missing=""
for package in "$@"; do
    dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q '^install ok installed$' || missing="$missing $package"
done
[ -n "$missing" ] || exit 0

as_root=""
if [ "$(id -u)" != 0 ]; then
    as_root="sudo"
    # Without a terminal nobody can type a password, and waiting for one would hang a build.
    [ -t 0 ] || as_root="sudo -n"
fi
if ! command -v apt-get >/dev/null || { [ -n "$as_root" ] && ! $as_root true 2>/dev/null; }; then
    echo "Missing on this system and not installable from here:$missing" >&2
    exit 1
fi

echo "Installing$missing ..."
export DEBIAN_FRONTEND=noninteractive
{ $as_root apt-get -qq update && $as_root apt-get -qq -y install --no-install-recommends $missing; } >/dev/null || {
    echo "Could not install:$missing" >&2
    exit 1
}
