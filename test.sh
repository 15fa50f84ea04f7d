#!/usr/bin/env bash
# Installs what the tests need and runs all of them, the quick ones first; stops at the first that
# fails and says which. It installs through run.sh, which holds the list of packages.
set -euo pipefail
export LC_ALL=C.UTF-8
cd "$(dirname "${BASH_SOURCE[0]}")"

usage() {
    cat <<'END'
./test.sh [--yes]
    Install what the tests need and run all of them.
    --yes    install without asking
END
}

say() { printf '%s\n' "$*" >&2; }
fail() {
    say "test.sh: $*"
    exit 1
}

yes=()
while (($# > 0)); do
    case $1 in
    -y | --yes) yes=(--yes) ;;
    -h | --help)
        usage
        exit 0
        ;;
    *) fail "unknown argument: $1 (there is only --yes)" ;;
    esac
    shift
done

done_steps=()
current=
step() { # step NAME COMMAND...
    current=$1
    shift
    say "== $current"
    local started=$SECONDS
    "$@"
    done_steps+=("$((SECONDS - started)) s  $current")
    say "== $current: ok, $((SECONDS - started)) s"
    current=
}
at_exit() {
    local code=$?
    if [[ -n $current ]]; then
        say "== $current: FAILED (exit code $code)"
    fi
}
trap at_exit EXIT

tools() {
    if ! command -v cargo >/dev/null && [[ -x ${CARGO_HOME:-$HOME/.cargo}/bin/cargo ]]; then
        PATH=${CARGO_HOME:-$HOME/.cargo}/bin:$PATH
    fi
    command -v cargo >/dev/null ||
        fail "Rust is missing. Install Rust 1.95 or newer (with rustup), then run this again."
    local part
    for part in clippy fmt; do
        cargo "$part" --version >/dev/null 2>&1 && continue
        [[ $part == fmt ]] && part=rustfmt
        command -v rustup >/dev/null ||
            fail "$part is missing. Install it as you installed Rust, then run this again."
        if ((${#yes[@]} == 0)); then
            [[ -t 0 ]] || fail "$part is missing: run \`rustup component add $part\`, then this again."
            local answer
            read -r -p "$part is missing. Install it with rustup now? [y/N] " answer
            [[ $answer == [yY]* ]] || fail "not installed: run \`rustup component add $part\`."
        fi
        rustup component add "$part"
    done
    cargo --version
    rustc --version
}

scripts() {
    local script
    for script in run.sh test.sh .ci/run; do
        bash -n "$script"
    done
    shellcheck run.sh test.sh .ci/run
}

documentation() {
    RUSTDOCFLAGS='-D warnings' cargo doc --locked --no-deps --document-private-items
}

licences() {
    if cargo deny --version >/dev/null 2>&1; then
        cargo deny --locked check --hide-inclusion-graph licenses bans sources
    else
        say "SKIPPED: cargo-deny is not installed, so licences, doubled crates and sources of crates"
        say "were not checked. To get it: cargo install cargo-deny --locked"
    fi
}

export RUST_BACKTRACE=1
# A display of the person's own must not change what the tests see.
unset DISPLAY WAYLAND_DISPLAY
if [[ -n ${CI:-} ]]; then
    # A fresh clone is built once: keeping half-built parts and drawing bars only costs.
    export CARGO_INCREMENTAL=0 CARGO_TERM_PROGRESS_WHEN=never
fi

step "packages" ./run.sh "${yes[@]}" --install build,window,clips,tests
step "tools" tools
step "cargo fmt" cargo fmt --check
step "scripts" scripts
step "licences and sources of crates" licences
step "clippy" cargo clippy --locked --all-targets -- -D warnings
step "clippy without the window" cargo clippy --locked --no-default-features -- -D warnings
step "documentation" documentation
step "tests" cargo test --locked

say ""
say "All steps passed:"
printf '  %s\n' "${done_steps[@]}" >&2
