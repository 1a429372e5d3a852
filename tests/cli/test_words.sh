#!/bin/sh
# No verdict anywhere: words that judge do not occur in what the program says. usage: test_words.sh BUILD-FOLDER
set -u
B=$1
cmd=$PWD/$B/plumbrule
banned='safe|safely|unsafe|acceptable|unacceptable|recommended|recommend|advise|advised|adequate|inadequate|ideal|optimal|sufficient|insufficient|should be placed|contraindicated|indicated|success|failure'
bad=0
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT

# every string in the sources, and the data files they embed
sed 's/\\"//g' src/*/*.c src/*.c | grep -o '"[^"]*"' >"$tmp/strings"
cat src/measure/*.json >>"$tmp/strings"
"$cmd" --help >"$tmp/help"
"$cmd" limits >"$tmp/limits"
for s in demo-images/*.sheet.json; do
    "$cmd" record "$s" --into "$tmp/rec" >/dev/null 2>>"$tmp/err"
    "$cmd" measure --worksheet "$s" >>"$tmp/worksheet" 2>>"$tmp/err"
done
"$cmd" series demo-images/*.sheet.json >"$tmp/series" 2>>"$tmp/err"
[ -s "$tmp/series" ] || bad=1
for f in "$tmp"/series "$tmp"/strings "$tmp"/help "$tmp"/limits "$tmp"/worksheet "$tmp"/err "$tmp"/rec/*.txt "$tmp"/rec/*.json; do
    if grep -inwE "$banned" "$f"; then
        echo "FAILED: $(basename "$f") judges"
        bad=1
    fi
done

# the cautions that a report must carry, whatever the sheet
for t in "$tmp"/rec/*.txt; do
    tr -s ' \n' '  ' <"$t" >"$tmp/flat"
    for c in 'mesio-distal angles only, not facio-lingual' 'does not show the facial or the lingual plate' \
        'hold in the plane of the gauge' 'nobody has confirmed is a proposal' 'no diagnosis' \
        'judgement of the licensed clinician come first' 'facial plate (not visible on a film)'; do
        grep -qF "$c" "$tmp/flat" || { echo "FAILED: $(basename "$t") lacks '$c'"; bad=1; }
    done
    [ "$(awk '{ n = gsub(/[^\200-\277]/, ""); if (n > 72) c++ } END { print c + 0 }' "$t")" -eq 0 ] || { echo "FAILED: $t is wider than 72"; bad=1; }
done
exit $bad
