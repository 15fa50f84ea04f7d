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
    # A fresh Rust is often not yet on the PATH of this shell, or behind an older one.
    PATH=${CARGO_HOME:-${HOME:-}/.cargo}/bin:$PATH
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
    for script in run.sh test.sh .ci/run .ci/window-pictures; do
        bash -n "$script"
        shellcheck "$script"
    done
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

# Opens the real window on the demo, on a display without a screen, and looks at its picture: a
# window that came up empty has a handful of colours, one that draws has hundreds.
least_colours=200
open_window() { # open_window PROGRAM FOLDER; runs inside the virtual display
    # On a busy machine the display may be late.
    for ((tries = 0; tries < 30; tries++)); do
        xdotool getdisplaygeometry >/dev/null 2>&1 && break
        sleep 1
    done
    xdotool getdisplaygeometry >/dev/null || fail "the virtual display does not answer"
    "$1" &
    local program=$! window=
    for ((tries = 0; tries < 60; tries++)); do
        kill -0 "$program" 2>/dev/null || fail "the window closed by itself"
        window=$(xdotool search --onlyvisible --name '^beadtally' | head -n 1) && break
        sleep 1
    done
    [[ -n $window ]] || fail "no window came up within a minute"
    local colours=0
    for ((tries = 0; tries < 30; tries++)); do
        import -window "$window" "$2/window.png"
        colours=$(identify -format '%k' "$2/window.png")
        ((colours >= least_colours)) && break
        sleep 1
    done
    kill "$program"
    for ((tries = 0; tries < 10; tries++)); do
        kill -0 "$program" 2>/dev/null || break
        sleep 1
    done
    if kill -0 "$program" 2>/dev/null; then
        kill -KILL "$program"
        fail "the window did not end within ten seconds of being asked to (SIGTERM)"
    fi
    say "the window shows $colours colours"
    ((colours >= least_colours)) || fail "the window stays empty"
}
window() {
    cargo build --locked
    local program=${CARGO_TARGET_DIR:-target}/debug/beadtally folder code=0
    folder=$(mktemp -d)
    # Nothing of this may reach the person's own logbook. A display that is reset when its last client has gone
    # refuses the next one for a moment.
    least_colours=$least_colours XDG_DATA_HOME=$folder XDG_CONFIG_HOME=$folder \
        LIBGL_ALWAYS_SOFTWARE=1 xvfb-run --auto-servernum \
        --server-args '-screen 0 1280x800x24 -noreset +extension GLX' \
        bash -euo pipefail -c "$(declare -f say fail open_window); open_window \"\$@\"" \
        bash "$program" "$folder" || code=$?
    rm -r "$folder"
    return "$code"
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
step "window on a virtual display" window
step "tests" cargo test --locked

say ""
say "All steps passed:"
printf '  %s\n' "${done_steps[@]}" >&2
