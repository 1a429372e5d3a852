#!/bin/sh
# The command series as a user meets it. usage: test_series.sh BUILD-FOLDER
set -u
B=$1
cmd=$PWD/$B/plumbrule
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
bad=0
XDG_CONFIG_HOME=$tmp/none
export XDG_CONFIG_HOME

fail() { echo "FAILED: $1"; bad=1; }
# wants CODE WHAT COMMAND...: runs, keeps stdout in out and stderr in err
wants() {
    code=$1 what=$2
    shift 2
    "$@" >"$tmp/out" 2>"$tmp/err"
    got=$?
    [ $got -eq "$code" ] || { fail "$what: exit $got, wanted $code"; cat "$tmp/err"; }
}
says() { grep -q -- "$1" "$tmp/$2" || { fail "$what: no '$1' in $2"; cat "$tmp/$2"; }; }
# a fault is one line and nothing on standard output
one_line() {
    [ "$(wc -l <"$tmp/err")" -eq 1 ] || { fail "$what: not one line"; cat "$tmp/err"; }
    [ ! -s "$tmp/out" ] || fail "$what: standard output is not empty"
}

cp demo-images/*.sheet.json demo-images/*.png demo-images/*.tif demo-images/*.jpg "$tmp"
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
wants 64 'one sheet' "$cmd" series $a
says '2 to 60 sheets' err
one_line
# shellcheck disable=SC2046
wants 64 'a huge list' "$cmd" series $(seq 5000)
one_line
wants 65 'a sheet twice' "$cmd" series $a $b ./$a
says "./$a: is of the same film as $a" err
one_line
sed 's/"tooth": "35"/"tooth": "36"/' $b >other.sheet.json
wants 65 'another tooth' "$cmd" series $a other.sheet.json
says 'other.sheet.json: is of tooth 36, before-extraction.sheet.json of 35' err
one_line
sed '/"taken"/d' $b >undated.sheet.json
wants 65 'no date' "$cmd" series $a undated.sheet.json
says 'undated.sheet.json: states no date of its film: write' err
one_line
sed 's/2026-07-06/2026-13-06/' $b >unreal.sheet.json
wants 65 'no real date' "$cmd" series $a unreal.sheet.json
says 'unreal.sheet.json: line' err
one_line
sed '/"tooth": "35"/d' $b >nowhere.sheet.json
wants 65 'no tooth' "$cmd" series $a nowhere.sheet.json
one_line
wants 66 'no such sheet' "$cmd" series $a none.sheet.json
says 'none.sheet.json: no such file' err
one_line
wants 65 'a film for a sheet' "$cmd" series $a four-months.png
one_line
wants 64 'options of others' "$cmd" series --worksheet $a $b
wants 64 'two forms' "$cmd" series --csv --json $a $b
mv four-months.png away.png
wants 66 'a missing film' "$cmd" series $a $b
says "$b: film four-months.png: no such file" err
one_line
cp before-extraction.png four-months.png
wants 65 'another film' "$cmd" series $a $b
says 'other digest' err
one_line
exit $bad
