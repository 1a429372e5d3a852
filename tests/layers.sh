#!/bin/sh
# Fails when a part includes a part that is not below it, or a library's header outside its part.
# usage: layers.sh PART... (lowest first; cli and viewer come after all and never include each other)
set -u
bad=0
lower=""
complain() { echo "layers: $1" >&2; bad=1; }

check_part() { # part, allowed parts
    for f in src/"$1"/*.c src/"$1"/*.h include/plumbrule/"$1".h; do
        [ -e "$f" ] || continue
        for p in $(sed -n 's|^#include "plumbrule/\([a-z]*\)\.h".*|\1|p; s|^#include "\([a-z]*\)/.*|\1|p' "$f" | grep -v '^plumbrule$'); do
            case " $2 $1 " in
            *" $p "*) ;;
            *) complain "$f includes $p, which is not below $1" ;;
            esac
        done
    done
}
for part in "$@"; do
    check_part "$part" "$lower"
    lower="$lower $part"
done
check_part cli "$lower"
check_part viewer "$lower"

only_in() { # pattern, allowed folders (grep -v pattern), what
    found=$(grep -rlE "#include <($1)" src include | grep -vE "$2")
    [ -z "$found" ] || complain "$3 included in $found"
}
only_in 'png\.h|tiff|jpeglib|libexif|jerror' '^src/film/' 'a decoder library is'
only_in 'cairo|pango' '^src/(record|viewer)/' 'cairo or pango is'
only_in 'X11' '^src/viewer/' 'X11 is'
[ $bad -eq 0 ] && echo "layers: each part includes only parts below it"
exit $bad
