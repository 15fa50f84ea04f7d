#!/usr/bin/env bash
# Builds beadtally and starts it: the window on the demo, or, with no display, the same demo in
# the terminal. First it names every Debian package that is missing and why it is needed, and
# installs them after asking. It leaves the tests to test.sh.
set -euo pipefail
export LC_ALL=C.UTF-8

usage() {
    cat <<'END'
./run.sh [--yes] [ARGUMENTS...]
    Install what is missing, build (release), and run `beadtally ARGUMENTS...`.
    With no ARGUMENTS: the window on the demo, or `beadtally watch demo` when there is no display.
    --yes    install without asking
    --       everything after it goes to beadtally, also --yes and --help
./run.sh [--yes] --install GROUP[,GROUP...]
    Only install; the groups are build, window, clips and tests.
END
}

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
say() { printf '%s\n' "$*" >&2; }
fail() {
    say "run.sh: $*"
    exit 1
}

# One line a package: group | package | how to see that it is there | why.
# The third column: `dpkg NAME` (a pattern is allowed) or `program NAME`.
packages() {
    cat <<'END'
build|gcc|program cc|a C compiler: SQLite, which keeps the logbook, is built from source
build|libc6-dev|dpkg libc6-dev|headers and start files of the C library, to link any program
build|libclang1|dpkg libclang1-*|reads the kernel's video header while the camera part is built
build|pkg-config|program pkg-config|tells the build where the sound library is
build|libasound2-dev|dpkg libasound2-dev|the sound library, for the alarm tone
window|libxkbcommon0|dpkg libxkbcommon0|keyboard
window|libxkbcommon-x11-0|dpkg libxkbcommon-x11-0|keyboard under X11; the window stops at once without it
window|libx11-xcb1|dpkg libx11-xcb1|X11 window
window|libxcursor1|dpkg libxcursor1|mouse pointer under X11
window|libxi6|dpkg libxi6|mouse and keyboard events under X11
window|libgl1|dpkg libgl1|drawing (OpenGL)
window|libegl1|dpkg libegl1|drawing (OpenGL, the way to the screen)
window|libgl1-mesa-dri|dpkg libgl1-mesa-dri|drawing (the drivers, also for machines with no graphics card)
wayland|libwayland-client0|dpkg libwayland-client0|Wayland window
wayland|libwayland-egl1|dpkg libwayland-egl1|drawing under Wayland
clips|ffmpeg|program ffmpeg|reads recorded video files
tests|xvfb|program Xvfb|a display without a screen, for testing the window
tests|xauth|program xauth|opens that display to the tests
tests|xdotool|program xdotool|finds the window and presses its keys in the tests
tests|imagemagick|program import|takes the tests' pictures of the window
tests|shellcheck|program shellcheck|reads the scripts for mistakes
END
}

is_there() { # is_there KIND NAME
    if [[ $1 == program ]]; then
        command -v "$2" >/dev/null
    else
        local states
        states=$(dpkg-query -W -f '${db:Status-Status}\n' "$2" 2>/dev/null) || true
        [[ " ${states//$'\n'/ } " == *' installed '* ]]
    fi
}

# A release without the plain name `libclang1` still has it with a number: the newest will do.
real_name() {
    if [[ $1 == libclang1 ]] && ! apt-cache show libclang1 >/dev/null 2>&1; then
        apt-cache pkgnames libclang1- | sort -V | tail -n 1
    else
        echo "$1"
    fi
}

yes=false
may_install() { # may_install QUESTION
    $yes && return 0
    [[ -t 0 ]] || return 1
    local answer
    read -r -p "$1 [y/N] " answer
    [[ $answer == [yY]* ]]
}

install_groups() { # install_groups GROUP...
    if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
        say "run.sh: this is not a Debian kind of system, so nothing can be installed from here."
        say "If the build or the window fails, these are Debian's names of what it needs:"
        local group package why
        while IFS='|' read -r group package _ why; do
            [[ " $* " == *" $group "* ]] && say "  $package: $why"
        done < <(packages)
        return 0
    fi

    local missing=() group package kind name why
    while IFS='|' read -r group package kind why; do
        [[ " $* " == *" $group "* ]] || continue
        read -r kind name <<<"$kind"
        is_there "$kind" "$name" && continue
        ((${#missing[@]} > 0)) || say "Missing on this machine:"
        say "  $package: $why"
        missing+=("$package")
    done < <(packages)
    ((${#missing[@]} > 0)) || return 0

    local as_root=()
    if ((EUID != 0)); then
        if ! command -v sudo >/dev/null; then
            fail "installing needs an administrator, and there is no sudo here. Ask one to run:
  apt-get update && apt-get install --no-install-recommends ${missing[*]}
then run this again."
        fi
        if ! may_install "Install them now with sudo?"; then
            fail "not installed. To do it by hand:
  sudo apt-get update && sudo apt-get install --no-install-recommends ${missing[*]}
then run this again (or run it with --yes)."
        fi
        as_root=(sudo)
    fi

    local log
    log=$(mktemp)
    say "Installing."
    "${as_root[@]}" apt-get update -q >"$log" 2>&1 ||
        say "run.sh: the package lists could not be refreshed; going on with those at hand."
    local names=()
    for package in "${missing[@]}"; do
        name=$(real_name "$package")
        [[ -n $name ]] || fail "no package $package is on offer; check the machine's apt sources."
        names+=("$name")
    done
    if ! "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -q \
        --no-install-recommends "${names[@]}" </dev/null >>"$log" 2>&1; then
        cat "$log" >&2
        rm "$log"
        fail "apt-get could not install ${names[*]}. What it says above tells why; then run this again."
    fi
    rm "$log"
    say "Installed: ${names[*]}"
}

find_cargo() {
    # A fresh Rust is often not yet on the PATH of this shell, or behind an older one.
    PATH=${CARGO_HOME:-${HOME:-}/.cargo}/bin:$PATH
    command -v cargo >/dev/null ||
        fail "Rust is missing. Install Rust 1.95 or newer (with rustup), then run this again."
    local version
    version=$(rustc --version 2>/dev/null | cut -d ' ' -f 2 | cut -d - -f 1)
    if [[ $(printf '%s\n' 1.95.0 "$version" | sort -V | head -n 1) != 1.95.0 ]]; then
        fail "Rust is ${version:-unknown}, and 1.95 or newer is needed: run \`rustup update stable\`."
    fi
}

groups=()
while (($# > 0)); do
    case $1 in
    -y | --yes) yes=true ;;
    -h | --help)
        usage
        exit 0
        ;;
    --install)
        (($# > 1)) || fail "--install needs the names of groups: build,window,clips,tests"
        IFS=, read -r -a groups <<<"$2"
        shift
        ;;
    --)
        shift
        break
        ;;
    *) break ;;
    esac
    shift
done

for group in "${groups[@]}"; do
    case $group in
    build | window | clips | tests) ;;
    *) fail "there is no group '$group'; the groups are build, window, clips and tests" ;;
    esac
done
if ((${#groups[@]} > 0)); then
    (($# == 0)) || fail "--install takes no arguments for beadtally: $*"
    install_groups "${groups[@]}"
    exit 0
fi

wanted=(build)
[[ -n ${DISPLAY:-}${WAYLAND_DISPLAY:-} ]] && wanted+=(window)
[[ -n ${WAYLAND_DISPLAY:-} ]] && wanted+=(wayland)
find_cargo
install_groups "${wanted[@]}"

manifest=$here/Cargo.toml
say "Building beadtally (the first time takes several minutes)."
cargo build --release --locked --manifest-path "$manifest"

if ! command -v ffmpeg >/dev/null; then
    say "ffmpeg is not installed: video files cannot be read (the camera, picture folders, .y4m and the demo can)."
    say "To get it: ./run.sh --install clips"
fi
if (($# == 0)) && [[ -z ${DISPLAY:-}${WAYLAND_DISPLAY:-} ]]; then
    say "There is no display here: watching the demo in the terminal. Stop with Ctrl-C."
    set -- watch demo
fi
exec cargo run --release --locked --quiet --manifest-path "$manifest" -- "$@"
