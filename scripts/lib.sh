# What scripts/start and scripts/test share: stages with elapsed time, the toolchain, packages, the speech model.
# Sourced by bash with `set -euo pipefail`; the current folder is the project's.
# shellcheck shell=bash

stage_name=""

elapsed() { printf '%d:%02d' $((SECONDS / 60)) $((SECONDS % 60)); }

# stage TEXT: begins a stage; a failure later names it.
stage() {
    stage_name=$1
    printf '\n== %s  [%s]\n' "$stage_name" "$(elapsed)"
}

# fail TEXT...: a message, then the end.
fail() {
    printf '%s\n' "$@" >&2
    exit 1
}

# Says in which stage a script ended that did not come to its end.
report_failure() {
    local code=$?
    if [ "$code" -ne 0 ] && [ -n "$stage_name" ]; then
        printf '\n%s: FAILED while %s  [%s]\n' "$0" "$stage_name" "$(elapsed)" >&2
    fi
}
trap report_failure EXIT

# --- packages of the system -------------------------------------------------------------------------------------------

wanted_packages=()

# want PACKAGE [COMMAND...]: notes the package, unless the command succeeds; without one, unless it is installed.
want() {
    local package=$1
    shift
    if [ $# -gt 0 ]; then
        "$@" >/dev/null 2>&1 && return
    elif command -v dpkg-query >/dev/null; then
        [ "$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null)" = installed ] && return
    fi
    wanted_packages+=("$package")
}

as_root() {
    if [ "$(id -u)" -eq 0 ]; then
        "$@"
    elif command -v sudo >/dev/null; then
        sudo "$@"
    else
        fail "Root rights are needed to install packages, and there is no sudo." \
            "As root, run: apt-get install ${wanted_packages[*]}" "Then run $0 again."
    fi
}

apt_updated=no
apt_update() {
    [ "$apt_updated" = yes ] || as_root apt-get update -q
    apt_updated=yes
}

# Installs what was noted; says what it is before.
install_wanted() {
    if [ ${#wanted_packages[@]} -eq 0 ]; then
        echo "All packages needed are there."
        return
    fi
    if ! command -v apt-get >/dev/null; then
        echo "This is no Debian system, so nothing is installed. These Debian packages or their like are needed:"
        printf '  %s\n' "${wanted_packages[@]}"
        return
    fi
    echo "Missing, installed now: ${wanted_packages[*]}"
    apt_update
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "${wanted_packages[@]}"
    wanted_packages=()
}

# What building needs: C for the logbook and the voice; ALSA for sound.
want_for_building() {
    want g++ command -v g++
    want pkg-config command -v pkg-config
    want libasound2-dev
    want ca-certificates
}

# What fetching the speech model needs.
want_for_the_model() {
    want python3 command -v python3
    want python3-pip python3 -m pip --version
}

# What a window needs: these are loaded while the program runs, so the build does not miss them.
want_for_the_window() {
    want libgl1
    want libegl1
    want libgl1-mesa-dri
    want libx11-6
    want libx11-xcb1
    want libxcursor1
    want libxi6
    want libxrandr2
    want libxkbcommon0
    want libxkbcommon-x11-0
}

# --- toolchain --------------------------------------------------------------------------------------------------------

# The version in rust-toolchain.toml.
toolchain_wanted() { sed -n 's/^channel *= *"\(.*\)"/\1/p' rust-toolchain.toml; }

# Rust as rust-toolchain.toml asks, or newer.
check_toolchain() {
    local wanted found
    wanted=$(toolchain_wanted)
    local how="Install rustup (see the Rust project's own page \"Install Rust\"), then run: rustup toolchain install $wanted"
    if ! command -v cargo >/dev/null || ! command -v rustc >/dev/null; then
        # rustup puts its programs there, and a shell that was open meanwhile does not know.
        if [ -x "${CARGO_HOME:-$HOME/.cargo}/bin/cargo" ]; then
            PATH="${CARGO_HOME:-$HOME/.cargo}/bin:$PATH"
        else
            fail "The Rust toolchain is missing: cargo and rustc $wanted or newer are needed." "$how"
        fi
    fi
    if ! found=$(rustc --version); then
        fail "rustc does not run (its message is above). Rust $wanted or newer is needed." "$how"
    fi
    found=$(printf '%s' "$found" | cut -d' ' -f2)
    if [ "$(printf '%s\n%s\n' "$wanted" "$found" | sort -V | head -n 1)" != "$wanted" ]; then
        fail "Rust $found is too old: $wanted or newer is needed." "$how"
    fi
    echo "Rust $found"
}

# check_components NAME...: these subcommands of cargo.
check_components() {
    local component
    for component in "$@"; do
        cargo "$component" --version >/dev/null 2>&1 ||
            fail "cargo $component is missing." "Run: rustup component add --toolchain $(toolchain_wanted) rustfmt clippy"
    done
}

# The folder cargo builds into.
target_dir() { printf '%s' "${CARGO_TARGET_DIR:-target}"; }
