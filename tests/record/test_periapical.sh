#!/bin/sh
# Two real films of an open data set go the whole way, the burnt-in ruler as gauge.
# Films: DenPAR, Rasnayaka et al., Scientific Data 12:1615 (2025), doi 10.5281/zenodo.16645076, CC BY 4.0.
# usage: test_periapical.sh BUILD-FOLDER
set -u
B=$1
films=${PLUMB_FILMS:-../shared/films}/periapical
[ -d "$films" ] || { echo "skipped: no films in $films"; exit 0; }
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
cp "$films"/*.png fixtures/periapical/*.sheet.json "$tmp"
bad=0
for s in lower-posterior upper-incisors; do
    "$B/plumbrule" record "$tmp/$s.sheet.json" --into "$tmp/rec" >"$tmp/out" 2>"$tmp/err" || { cat "$tmp/err"; bad=1; continue; }
    # The ruler's 10 divisions measure 28.5 px each by our own reckoning: 0.0351 mm a pixel.
    "$B/plumbrule" measure --csv "$tmp/$s.sheet.json" 2>/dev/null | awk -F, '$4 == "scale" { k = $5 } END { exit !(k > 0.0340 && k < 0.0362) }' || { echo "FAILED: $s: scale"; bad=1; }
    "$B/plumbrule" measure --csv "$tmp/$s.sheet.json" 2>/dev/null | awk -F, '$4 ~ /^root_length/ { n++; if ($5 < 7 || $5 > 20) bad = 1 } END { exit n < 2 || bad }' || { echo "FAILED: $s: root lengths"; bad=1; }
    grep -q 'CAUTIONS' "$tmp/rec/$s-r01.txt" || { echo "FAILED: $s: no report"; bad=1; }
done
exit $bad
