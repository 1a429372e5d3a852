#!/bin/sh
# The command series as a user meets it. usage: test_series.sh BUILD-FOLDER
set -u
B=$1
. tests/cli/common.sh
# a fault is one line and nothing on standard output
one_line() {
    [ "$(wc -l <"$tmp/err")" -eq 1 ] || { fail "$what: not one line"; cat "$tmp/err"; }
    [ ! -s "$tmp/out" ] || fail "$what: standard output is not empty"
}
# refuses CODE WHAT WORDS SHEET...: in one line with these words
refuses() {
    code=$1 what=$2 words=$3
    shift 3
    wants "$code" "$what" "$cmd" series "$@"
    says "$words" err
    one_line
}

cp "$demo"/*.sheet.json "$demo"/*.png "$demo"/*.tif "$demo"/*.jpg "$tmp"
cd "$tmp" || exit 1
a=before-extraction.sheet.json b=four-months.sheet.json

wants 0 table "$cmd" series $b $a
says 'CHANGE OVER TIME' out
says 'no change detectable below' out
says 'series\|scale of last resort' err
wants 0 json "$cmd" series --json $a $b
says '"format":"plumbrule-series"' out
[ "$(wc -l <out)" -eq 1 ] || fail 'json: more than one line'
wants 0 csv "$cmd" series --csv $a $b
says '^id,kind,since,' out
says '^change.cej_crest.mesial,crest,first,2026-03-02,2026-07-06,126,' out
wants 0 'a sheet from standard input' sh -c '"$1" series - '$b' <'$a sh "$cmd"
wants 0 'the pin stays' "$cmd" series --same-pin first-drill.sheet.json second-drill.sheet.json
says 'its gauges on films 1 and 2 are not of one size' err
wants 74 'a full disk' sh -c '"$1" series '"$a $b"' >/dev/full' sh "$cmd"

# --- files
wants 0 plot "$cmd" series --plot plot.png $a $b
"$cmd" pin plot.png >/dev/null 2>&1 || fail 'the plot is no picture'
cp plot.png plot.before
wants 73 'a plot that is there' "$cmd" series --plot plot.png $a $b
cmp -s plot.png plot.before || fail 'a plot was written over'
for f in plot.jpg plot .png plot.png.old; do
    wants 64 "a plot named $f" "$cmd" series --plot $f $a $b
    says 'ends in .png' err
    one_line
    [ ! -e $f ] || fail "a plot named $f: written"
done
wants 0 'a plot in capitals' "$cmd" series --plot PLOT.PNG $a $b
wants 0 record "$cmd" series --into chart $a $b
wants 0 'record again' "$cmd" series --into chart --json $a $b
says '"revision":2' out
for f in 01.png 01.txt 01.json 02.png 02.txt 02.json; do [ -s chart/series-35-r$f ] || fail "record: no series-35-r$f"; done
cmp -s chart/series-35-r01.txt chart/series-35-r02.txt || fail 'two records of one series differ'
[ "$(ls chart | wc -l)" -eq 6 ] || fail 'record: something else was left'

# --- the same tooth in the other notation
sed 's/"tooth": "35"/"tooth": "20"/; s/"notation": "fdi"/"notation": "universal"/' $b >universal.sheet.json
grep -q '"universal"' universal.sheet.json || sed -i 's/"tooth": "20"/"tooth": "20", "notation": "universal"/' universal.sheet.json
wants 0 'both notations' "$cmd" series $a universal.sheet.json

# --- what does not belong
wants 64 'no sheet' "$cmd" series
one_line
refuses 64 'one sheet' '2 to 60 sheets' $a
# shellcheck disable=SC2046
wants 64 'a huge list' "$cmd" series $(seq 5000)
one_line
refuses 65 'a sheet twice' "./$a: is of the same film as $a" $a $b ./$a
sed 's/"tooth": "35"/"tooth": "36"/' $b >other.sheet.json
refuses 65 'another tooth' 'other.sheet.json: is of tooth 36, before-extraction.sheet.json of 35' $a other.sheet.json
sed '/"taken"/d' $b >undated.sheet.json
refuses 65 'no date' 'undated.sheet.json: states no date of its film: write' $a undated.sheet.json
sed 's/2026-07-06/2026-13-06/' $b >unreal.sheet.json
refuses 65 'no real date' 'unreal.sheet.json: line' $a unreal.sheet.json
sed '/"tooth": "35"/d' $b >nowhere.sheet.json
wants 65 'no tooth' "$cmd" series $a nowhere.sheet.json
one_line
refuses 66 'no such sheet' 'none.sheet.json: no such file' $a none.sheet.json
wants 65 'a film for a sheet' "$cmd" series $a four-months.png
one_line
wants 64 'options of others' "$cmd" series --worksheet $a $b
wants 64 'two forms' "$cmd" series --csv --json $a $b
mv four-months.png away.png
refuses 66 'a missing film' "$b: film four-months.png: no such file" $a $b
cp before-extraction.png four-months.png
refuses 65 'another film' 'other digest' $a $b
exit $bad
