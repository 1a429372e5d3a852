# What the tests of the command line share. Sourced from the project's root, the build folder in B.
# shellcheck shell=sh disable=SC2034
cmd=$PWD/$B/plumbrule
demo=$PWD/demo-images
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
    "$@" >"$tmp/out" 2>"$tmp/err" </dev/null
    got=$?
    [ $got -eq "$code" ] || { fail "$what: exit $got, wanted $code"; cat "$tmp/err"; }
}
says() { grep -q -- "$1" "$tmp/$2" || { fail "$what: no '$1' in $2"; cat "$tmp/$2"; }; }
