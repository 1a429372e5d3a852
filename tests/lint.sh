#!/bin/sh
# Format and static checks; both compilers' warnings are errors. usage: lint.sh FILE...
set -u
bad=0
clang-format --dry-run --Werror "$@" || bad=1
sources=$(printf '%s\n' "$@" | grep '\.c$' | grep '^src/')
flags="-std=c17 -Iinclude -Isrc -Ibuild/release/src -I. -D_POSIX_C_SOURCE=200809L -DPLUMB_VIEWER=1 $(pkg-config --cflags libpng libtiff-4 libjpeg cairo pangocairo jansson libexif x11 | sed 's/-I/-isystem /g')"
warn="-Wall -Wextra -Werror -Wshadow -Wconversion -Wdouble-promotion -Wmissing-prototypes -Wstrict-prototypes -Wvla -Wformat=2 -Wundef"
# shellcheck disable=SC2086
printf '%s\n' $sources | xargs -P "$(nproc)" -n 4 sh -c 'clang '"$flags $warn"' -fsyntax-only "$@"' sh || bad=1
# shellcheck disable=SC2086
printf '%s\n' $sources | xargs -P "$(nproc)" -n 1 sh -c 'clang-tidy --quiet "$@" -- '"$flags"' 2>/dev/null' sh || bad=1
[ $bad -eq 0 ] && echo "lint: clean"
exit $bad
