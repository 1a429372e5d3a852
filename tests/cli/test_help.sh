#!/bin/sh
# The help texts against the parser: each option that a command takes is told in its help, none else,
# and all of them in the manual page. usage: test_help.sh BUILD-FOLDER
set -u
B=$1
. tests/cli/common.sh
# no wider than a terminal, in characters
narrow() {
    [ "$(awk '{ gsub(/[\200-\277]/, ""); if (length($0) > 80) n++ } END { print n + 0 }' "$tmp/out")" -eq 0 ] ||
        { fail "$what: wider than 80 columns"; cat "$tmp/out"; }
}
names=$(sed -n 's/^    {"\([a-z-]*\)", \("[^"]*"\|NULL\), OPT_.*/\1/p' src/cli/options.c | sort -u)
[ "$(echo "$names" | wc -l)" -eq "$(grep -c '^    OPT_' src/cli/options.c)" ] || fail 'not every option of the parser was found'
"$cmd" --help >"$tmp/all"
commands=$(sed -n 's/^  plumbrule \([a-z]*\).*/\1/p' "$tmp/all")
[ "$(echo "$commands" | wc -w)" -ge 8 ] || fail 'the overview lacks commands'

# --- one page
wants 0 overview "$cmd" --help
narrow
[ "$(wc -l <"$tmp/out")" -le 28 ] || fail 'the overview is longer than a page'
for word in 'man plumbrule' '64 usage' 'no diagnosis'; do says "$word" out; done
[ ! -s "$tmp/err" ] || fail 'overview: something on standard error'
"$cmd" help | cmp -s - "$tmp/all" || fail 'help is not --help'
wants 64 'help of no command' "$cmd" frobnicate --help
says 'frobnicate: no such command' err

# --- each command; view reads its few options by itself
for c in $commands; do
    wants 0 "$c --help" "$cmd" "$c" --help
    narrow
    says "^ *plumbrule $c" out
    says 'no diagnosis' out
    [ "$c" = view ] && continue
    sed -n 's/^  --\([a-z-]*\).*/\1/p' "$tmp/out" | sort >"$tmp/told"
    for o in $names; do "$cmd" "$c" "--$o" x; done </dev/null 2>"$tmp/err" >"$tmp/out"
    sed -n "s/^plumbrule: --\([a-z-]*\): not an option of $c: see plumbrule $c --help$/\1/p" "$tmp/err" |
        sort >"$tmp/refused"
    echo "$names" | comm -23 - "$tmp/refused" >"$tmp/taken"
    diff "$tmp/taken" "$tmp/told" >"$tmp/out" || { fail "$c: what it takes (<) and what its help tells (>)"; cat "$tmp/out"; }
done
wants 0 'help among other words' "$cmd" start film.png --tooth 35 --help
says 'plumbrule start FILM' out
wants 66 'a file of that name' "$cmd" pin -- --help
sed 's/\\-/-/g' src/cli/plumbrule.1 >"$tmp/manual"
for o in $names; do
    grep -qE -- "--$o( |\"|,|$)" "$tmp/manual" || fail "the manual lacks --$o"
done
exit $bad
