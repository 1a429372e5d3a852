#!/bin/sh
# Installs what building needs and is missing (Debian and its relatives), or says what to install.
# --check: also what the tests need. --no-viewer: without X11.
set -eu
run="libpng-dev libtiff-dev libjpeg62-turbo-dev libcairo2-dev libpango1.0-dev libjansson-dev libexif-dev pkg-config fonts-dejavu-core"
viewer="libx11-dev libxext-dev"
tests="libcmocka-dev libgsl-dev libspng-dev imagemagick xvfb xdotool xclip clang clang-format clang-tidy"
want="$run"
for a in "$@"; do
    case "$a" in
    --check) want="$want $tests" ;;
    --no-viewer) viewer="" ;;
    *) echo "deps.sh: unknown option $a" >&2; exit 64 ;;
    esac
done
want="$want $viewer"

if ! command -v dpkg-query >/dev/null 2>&1; then
    if pkg-config --exists libpng libtiff-4 libjpeg cairo pangocairo jansson libexif 2>/dev/null; then
        exit 0
    fi
    echo "this system has no apt: please install the development files of" >&2
    echo "  libpng libtiff libjpeg-turbo cairo pango jansson libexif libx11 libxext cmocka gsl, and pkg-config" >&2
    exit 1
fi
missing=""
for p in $want; do
    dpkg-query -W -f='${Status}' "$p" 2>/dev/null | grep -q 'ok installed' || missing="$missing $p"
done
[ -n "$missing" ] || exit 0
sudo=""
[ "$(id -u)" -eq 0 ] || sudo="sudo"
echo "installing:$missing" >&2
export DEBIAN_FRONTEND=noninteractive
# shellcheck disable=SC2086
{ $sudo apt-get update -qq && $sudo apt-get install -y -qq --no-install-recommends $missing; } >/tmp/plumbrule-deps.log 2>&1 || {
    cat /tmp/plumbrule-deps.log >&2
    exit 1
}
