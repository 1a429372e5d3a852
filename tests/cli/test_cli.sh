#!/bin/sh
# The command line as a user meets it: output, standard error, exit codes (sysexits.h), full disk.
# usage: test_cli.sh BUILD-FOLDER
set -u
B=$1
. tests/cli/common.sh
silent() { [ ! -s "$tmp/$1" ] || { fail "$what: $1 is not empty"; cat "$tmp/$1"; }; }

# --- help and usage
wants 0 help "$cmd" --help
says 'plumbrule record SHEET' out
silent err
wants 0 version "$cmd" --version
says 'plumbrule 0' out
wants 64 'no command' "$cmd"
silent out
wants 64 'unknown command' "$cmd" frobnicate
says 'frobnicate: no such command' err
wants 64 'unknown option' "$cmd" pin --frobnicate x.png
says 'no such option' err
wants 64 'option of another command' "$cmd" pin --tooth 35 x.png
wants 64 'bad gauge' "$cmd" start x.png --gauge width=3
says 'length=MM' err
wants 64 'bad jobs' "$cmd" pin --jobs 0 x.png
wants 64 'no file' "$cmd" record

# --- inputs that are not there or are no film
wants 66 'missing film' "$cmd" pin "$tmp/none.png"
says "plumbrule: $tmp/none.png: no such file" err
silent out
wants 66 'a folder' "$cmd" pin "$tmp"
: >"$tmp/empty.png"
wants 65 'an empty film' "$cmd" pin "$tmp/empty.png"
echo 'not a film' >"$tmp/text.png"
wants 65 'a text' "$cmd" pin "$tmp/text.png"
[ "$(wc -l <"$tmp/err")" -eq 1 ] || fail 'a text: more than one line'
echo '{"format":"plumbrule-sheet","version":1,"film":{"file":1}}' >"$tmp/s.json"
wants 65 'a sheet with a fault' "$cmd" measure "$tmp/s.json"
says 'line 1, column' err
wants 65 'max-pixels' "$cmd" pin --max-pixels 1000 "$demo/first-drill.tif"

# --- the way of the work
cp "$demo"/*.json "$demo"/*.png "$demo"/*.tif "$demo"/*.jpg "$tmp" 2>/dev/null
wants 0 pin "$cmd" pin --json "$tmp/first-drill.tif"
says '"format":"plumbrule-pin"' out
says '"confidence"' out
says '"widths":\[{"x":' out
wants 0 'pin in words' "$cmd" pin "$tmp/first-drill.tif"
[ "$(grep -c 'width .*from the tip' "$tmp/out")" -ge 2 ] || fail 'pin in words: no widths along the pin'
grep '^    ' "$tmp/out" | grep -v ± && fail 'pin in words: each number has its uncertainty'
"$cmd" pin --json "$tmp/first-drill.tif" | grep -q '"length_px":[0-9.]*,"length_sd":[0-9]' || fail 'pin: no uncertainty of the length'
wants 0 'a film without a pin' "$cmd" pin --json "$tmp/four-months.png"
says '"pins":\[\]' out
wants 0 start "$cmd" start "$tmp/first-drill.tif" --tooth 35 --gauge length=12.0 --gauge across=2.2 --out "$tmp/new.sheet.json"
says 'to be placed by hand' err
grep -q '"by": *"found"' "$tmp/new.sheet.json" || fail 'start: no found mark in the sheet'
far=$tmp/a-folder-with-a-name-longer-than-any-that-was-thought-of-when-the-room-for-a-film-s-path-was-laid-out-in-the-sheet-of-marks-it-has
mkdir -p "$far/sheets"
cp "$demo/before-extraction.png" "$far"
wants 0 'a sheet in another folder' sh -c 'cd "$1" && "$2" start before-extraction.png --out sheets/x.sheet.json' sh "$far" "$cmd"
wants 0 'its film is found again' "$cmd" measure "$far/sheets/x.sheet.json"
for i in 1 2 3 4; do
    wants 0 'start from numbers alone' "$cmd" start "$tmp/before-extraction.png" --replace --out "$tmp/told.sheet.json" --tooth 35 \
        --sensor 33.75 --age 38 --plan 10x4.$i --plan-on bisector --extracted 2026-03-02 --grafted 2026-03-02 --taken 2026-03-02 \
        --mark site_tooth.apex=562,877 --mark mesial.cej=298,347 --bound 'canal roof=60,1150,560,1205,930,1208' \
        --seen roots=1 --seen 'infection=none seen' --mark 'pins[0].tip=700,800'
done
wants 0 'start without a pin' "$cmd" start "$tmp/before-extraction.png" --out "$tmp/bare.sheet.json" --tooth 35 --plan 10x4.1 \
    --mesial-root 190,345,280,5895
says 'site_tooth.top, cej_mesial' err
says '--sensor MM' err
says 'mesial root: the apex at 280.0,5895.0 lies outside the film of' err
wants 0 'missing without a pin' "$cmd" measure --missing "$tmp/bare.sheet.json"
says 'cej_mesial, cej_distal, apex' out
says '--plan-on bisector' out
grep -A2 '"pins"' "$tmp/told.sheet.json" | grep -q '"x": 700' || fail 'start --mark: no further pin in the sheet'
wants 64 'a pin with a gap before it' "$cmd" start "$tmp/before-extraction.png" --out "$tmp/none.sheet.json" --mark 'pins[1].tip=700,800'
grep -q '"diameter_mm": 4.4' "$tmp/told.sheet.json" || fail 'start --plan: not in the sheet'
for i in 1: 2:2 3:3; do
    grep -q "\"diameter_mm\": 4.${i%:*}" "$tmp/told.sheet.json.old${i#*:}" || fail "start --replace: state $i is not kept"
done
for word in '"age_years": 38' '"on": "bisector"' '"grafted": "2026-03-02"' '"what": "canal roof"' '"x": 562' '"infection": "none seen"'; do
    grep -q "$word" "$tmp/told.sheet.json" || fail "start: no $word in the sheet"
done
for a in 'mark=x=1,2' 'mark=mesial.cej=1' 'mark=mesial.cej=1,2,3' 'bound=a=1,2' 'bound=a=1,2,3' 'plan=10' 'plan=10x' 'age=x' \
    'extracted=2026-02-30' 'plan-on=x' 'seen=roots=12' 'seen=colour=red' 'limits=x'; do
    wants 64 "start --$a" "$cmd" start "$tmp/before-extraction.png" --out "$tmp/none.sheet.json" "--$a"
done
wants 65 'a mark beside the film' "$cmd" start "$tmp/before-extraction.png" --out "$tmp/none.sheet.json" --mark mesial.cej=1,2000
[ ! -e "$tmp/none.sheet.json" ] || fail 'a refused start left a sheet'
wants 65 'a film for a sheet' "$cmd" measure "$tmp/first-drill.tif"
says 'is a film, no sheet' err
mkfifo "$tmp/pipe"
for f in pipe /dev/zero /dev/null; do
    echo "{\"format\":\"plumbrule-sheet\",\"version\":1,\"film\":{\"file\":\"$f\"}}" >"$tmp/s.json"
    wants 65 "a sheet whose film is $f" "$cmd" measure "$tmp/s.json"
    says 'not a file' err
done
rm "$tmp/pipe"
head -c 5000000 /dev/zero >"$tmp/big"
wants 65 'something large for a sheet' "$cmd" measure "$tmp/big"
says 'larger than any sheet' err
rm "$tmp/big"
wants 73 'start over an existing sheet' "$cmd" start "$tmp/first-drill.tif" --out "$tmp/new.sheet.json"
cp "$tmp/first-drill.tif" "$tmp/twin.tif"
for f in first-drill.tif four-months.png grafted.jpg; do
    wants 73 "start over the film $f" "$cmd" start "$tmp/twin.tif" --replace --out "$tmp/$f"
    says 'is a film and never written over' err
    cmp -s "$tmp/$f" "$demo/$f" || fail "start over the film $f: it was written to"
    [ ! -e "$tmp/$f.old" ] || fail "start over the film $f: a copy was left"
done
rm "$tmp/twin.tif"
wants 0 'measure a found sheet' "$cmd" measure "$tmp/new.sheet.json"
says PROPOSED out
wants 0 measure "$cmd" measure --json "$tmp/first-drill.sheet.json"
says '"format":"plumbrule-results"' out
wants 0 csv "$cmd" measure --csv "$tmp"/*-drill.sheet.json
[ "$(grep -c '^film,' "$tmp/out")" -eq 1 ] || fail 'csv: not one header'
wants 0 missing "$cmd" measure --missing "$tmp/new.sheet.json"
says '\[clearance.mesial\] needs' out
says 'left out, since no stop is marked: stop' out
for sheet in before-extraction first-drill second-drill grafted four-months; do
    wants 0 "each number of $sheet" "$cmd" measure "$tmp/$sheet.sheet.json"
    sed -n '/^MEASURED/,/^FINDINGS/p' "$tmp/out" | grep -E '^ {2,3}[0-9]+  ' >"$tmp/numbers"
    [ "$(wc -l <"$tmp/numbers")" -ge 10 ] || fail "$what: they are not found"
    grep -vE '±|\(.* to .*\)|  below |  none detectable$' "$tmp/numbers" && fail "$what has its uncertainty"
done
wants 0 'the plan on the pin' "$cmd" measure --csv "$tmp/first-drill.sheet.json"
grep '^first.*plan.clearance.mesial' "$tmp/out" >"$tmp/on-pin"
wants 0 'the plan on the bisector' "$cmd" measure --csv --plan-on bisector "$tmp/first-drill.sheet.json"
says 'the plan stands on the bisector as asked for' err
grep '^first.*plan.clearance.mesial' "$tmp/out" | cmp -s - "$tmp/on-pin" && fail '--plan-on: the same on both axes'
cmp -s "$tmp/first-drill.sheet.json" "$demo/first-drill.sheet.json" || fail '--plan-on: the sheet was written to'
wants 0 budget "$cmd" measure --budget "$tmp/first-drill.sheet.json"
says ' %  ' out
(cd "$tmp" && "$cmd" measure --json - <first-drill.sheet.json >stdin.out 2>/dev/null) || fail 'measure -'
"$cmd" measure --json "$tmp/first-drill.sheet.json" 2>/dev/null | cmp -s - "$tmp/stdin.out" || fail 'measure - differs'

# --- a new film of the same site
cp "$tmp/second-drill.sheet.json" "$tmp/old.sheet.json"
wants 64 'carry without a film' "$cmd" carry "$tmp/old.sheet.json"
says 'an old sheet and a new film' err
wants 64 'carry of three' "$cmd" carry "$tmp/old.sheet.json" "$tmp/grafted.jpg" "$tmp/four-months.png"
wants 64 'carry to another tooth' "$cmd" carry "$tmp/old.sheet.json" "$tmp/grafted.jpg" --tooth 36
wants 66 'carry from a sheet that is not there' "$cmd" carry "$tmp/gone.json" "$tmp/grafted.jpg"
says 'old sheet .*gone.json' err
wants 73 'carry over an existing sheet' "$cmd" carry "$tmp/old.sheet.json" "$tmp/grafted.jpg"
wants 0 carry "$cmd" carry "$tmp/old.sheet.json" "$tmp/grafted.jpg" --replace --taken 2026-03-02 --stage grafted --grafted 2026-03-02
says 'grafted.sheet.json' out
says 'the films match: [0-9]* of [0-9]* places are found again' err
says 'carrying adds 0.0[0-9] mm' err
says 'carried over, to be confirmed: mesial CEJ' err
says 'found on the new film: mesial root sides' err
says 'not carried: gauge drill diameter' err
grep -q '"by": *"carried"' "$tmp/grafted.sheet.json" || fail 'carry: no carried mark in the sheet'
grep -q '"stage": "grafted"' "$tmp/grafted.sheet.json" || fail 'carry: --stage is not in the sheet'
grep -q 'is dated' "$tmp/err" && fail 'carry: films of one day are said to be out of order'
cmp -s "$tmp/grafted.sheet.json.old" "$demo/grafted.sheet.json" || fail 'carry --replace: what was there is not kept'
cmp -s "$tmp/old.sheet.json" "$demo/second-drill.sheet.json" || fail 'carry: the old sheet was written to'
wants 0 'measure carried marks' "$cmd" measure "$tmp/grafted.sheet.json"
says PROPOSED out
cp "$demo/grafted.sheet.json" "$tmp"
cp "$tmp/second-drill.png" "$tmp/twin.png"
for f in second-drill.png twin.png; do
    wants 65 "carry of a film onto itself, $f" "$cmd" carry "$tmp/old.sheet.json" "$tmp/$f" --out "$tmp/none.sheet.json"
    says 'is the film of the old sheet itself' err
    [ ! -e "$tmp/none.sheet.json" ] || fail "carry of a film onto itself, $f: a sheet was left"
done
wants 0 'carry back in time' "$cmd" carry "$tmp/old.sheet.json" "$tmp/grafted.jpg" --out "$tmp/past.sheet.json" --taken 2026-03-01
says 'is dated 2026-03-01, before the old one of 2026-03-02' err
wants 65 'carry to a film that is none of the site' "$cmd" carry "$tmp/old.sheet.json" fixtures/broken/png-exif-loop.png --out "$tmp/none.sheet.json"
says 'too small or too narrow to be matched' err
[ ! -e "$tmp/none.sheet.json" ] || fail 'a refused carry left a sheet'

# --- records
wants 0 record "$cmd" record "$tmp/first-drill.sheet.json" --into "$tmp/chart"
says 'first-drill-r01.json' out
wants 0 'record again' "$cmd" record "$tmp/first-drill.sheet.json" --into "$tmp/chart"
says 'first-drill-r02.png' out
for f in png txt json; do
    cmp -s "$tmp/chart/first-drill-r01.$f" "$tmp/chart/first-drill-r02.$f" || fail "same sheet, other bytes: $f"
done
ls -a "$tmp/chart" | grep -vqE '^\.\.?$|-r0[12]\.(png|txt|json)$' && fail 'a temporary file was left'
cmp -s "$tmp/first-drill.tif" "$demo/first-drill.tif" || fail 'the film was written to'
: >"$tmp/file"
wants 73 'a folder that is a file' "$cmd" record "$tmp/first-drill.sheet.json" --into "$tmp/file"
sed 's/first-drill.tif/second-drill.png/' "$tmp/first-drill.sheet.json" >"$tmp/swapped.sheet.json"
wants 65 'another film' "$cmd" measure "$tmp/swapped.sheet.json"
says 'film-changed' err

# --- several inputs: one bad one is told and the rest done, in order
wants 66 several "$cmd" measure --json --jobs 2 "$tmp/first-drill.sheet.json" "$tmp/gone.json" "$tmp/second-drill.sheet.json"
[ "$(wc -l <"$tmp/out")" -eq 2 ] || fail 'several: not two documents'
head -1 "$tmp/out" | grep -q first-drill || fail 'several: not in input order'
says 'gone.json: no such file' err

# --- a full disk and a reader that went away
if [ -w /dev/full ]; then
    "$cmd" --help >/dev/full 2>"$tmp/err"
    [ $? -eq 74 ] || fail '/dev/full: not 74'
    "$cmd" measure --json "$tmp/first-drill.sheet.json" >/dev/full 2>"$tmp/err"
    [ $? -eq 74 ] || fail 'measure to /dev/full: not 74'
fi

# --- limits of one's own
echo '{"format":"plumbrule-limits","version":1,"limits":[{"quantity":"clearance.*","at_least":2.5,"caption":"ours"}]}' >"$tmp/l.json"
wants 0 limits "$cmd" limits --limits "$tmp/l.json"
says 'at least 2.5: ours' out
echo '{"format":"plumbrule-limits","version":1,"limits":[{"quantity":"angle.*","within":3},{"quantity":"clearance.mesial","at_least":2.5}]}' >"$tmp/l.json"
wants 0 'limits that overrule' "$cmd" measure --json --limits "$tmp/l.json" "$tmp/first-drill.sheet.json"
for id in angle.mesial clearance.mesial clearance.distal; do
    [ "$(grep -o "{\"quantity\":\"$id\"" "$tmp/out" | wc -l)" -eq 1 ] || fail "limits that overrule: not one finding of $id"
done
echo '{"format":"plumbrule-limits","version":1,"limits":[{"quantity":"clearance.*","at_least":"wide"}]}' >"$tmp/l.json"
wants 65 'limits with a fault' "$cmd" limits --limits "$tmp/l.json"
says 'line 1, column' err
mkdir -p "$tmp/xdg/plumbrule"
echo '{"format":"plumbrule-limits","version":1,"limits":[{"quantity":"angle.*","within":3,"caption":"from the folder"}]}' >"$tmp/xdg/plumbrule/limits.json"
XDG_CONFIG_HOME=$tmp/xdg wants 0 'limits from the config folder' "$cmd" limits
says 'from the folder' out

exit $bad
