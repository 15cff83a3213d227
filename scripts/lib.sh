# What scripts/start and scripts/test share: stages with elapsed time, the toolchain, packages, the speech model.
# Sourced by bash with `set -euo pipefail`; the current folder is the project's.
# shellcheck shell=bash

stage_name=""
# Every stage so far, and the second it began in.
stages=()
stages_began=()

clock() { printf '%d:%02d' $(($1 / 60)) $(($1 % 60)); }

elapsed() { clock "$SECONDS"; }

# stage TEXT: begins a stage; a failure later names it.
stage() {
    stage_name=$1
    stages+=("$1")
    stages_began+=("$SECONDS")
    printf '\n== %s  [%s]\n' "$stage_name" "$(elapsed)"
}

# Says how long each stage took; the last one has no length where it only says that all is done.
stage_table() {
    local i until
    printf '\nMinutes and seconds:\n'
    for i in "${!stages[@]}"; do
        until=${stages_began[i + 1]:-$SECONDS}
        if [ "$until" -gt "${stages_began[i]}" ] || [ $((i + 1)) -lt ${#stages[@]} ]; then
            printf '%8s  %s\n' "$(clock $((until - stages_began[i])))" "${stages[i]}"
        fi
    done
    printf '%8s  in all\n' "$(elapsed)"
}

# failed_tests LOG: each failed test in cargo's output with the command that runs it alone. What a test needs of the
# environment stands in the variables named in `test_environment`.
test_environment=()
failed_tests() {
    local kind target name variable command
    awk '
        /^ +Running unittests src\/lib\.rs / { target = "--lib" }
        /^ +Running unittests src\/main\.rs / { target = "--bin cableside" }
        /^ +Running tests\// { target = $2; sub(/^tests\//, "--test ", target); sub(/\.rs$/, "", target) }
        /^ +Doc-tests / { target = "--doc" }
        # The last list of names before the result counts; what a test printed may look like one.
        /^failures:$/ { count = 0; listing = 1; next }
        listing && /^    [^ ]/ { names[count++] = substr($0, 5); next }
        listing && count && !/^$/ { listing = 0 }
        /^test result: FAILED/ {
            for (i = 0; i < count; i++) print "test|" target "|" names[i]
            named[target] = count
        }
        # A program of tests that crashed has no result.
        /^    `--?[a-z]+( [^`]*)?`$/ {
            failed = $0; gsub(/^ *`|`$/, "", failed)
            if (!named[failed]) print "program|" failed "|"
        }
    ' "$1" | while IFS='|' read -r kind target name; do
        command=""
        for variable in "${test_environment[@]}"; do
            command+="$variable=$(printf '%q' "${!variable}") "
        done
        command+="cargo test --locked $target"
        if [ "$kind" = test ]; then
            printf 'Failed: %s (%s). Alone:\n  %s -- --exact %q\n' "$name" "$target" "$command" "$name"
        else
            printf 'Ended before its time: the tests of %s. Alone:\n  %s\n' "$target" "$command"
        fi
    done
}

# Says how much room there is for what is built and for temporary files: a full disk fails tests that have nothing to do with it.
room() {
    df -hP "$PWD" "${TMPDIR:-/tmp}" | awk -v names="this folder|temporary files" '
        BEGIN { split(names, name, "|") }
        NR > 1 { printf "Room for %s: %s of %s free\n", name[NR - 1], $4, $2 }'
}

# fail TEXT...: a message, then the end.
fail() {
    printf '%s\n' "$@" >&2
    exit 1
}

# Says in which stage a script ended that did not come to its end.
report_failure() {
    local code=$?
    [ "${with_table:-no}" = no ] || stage_table
    if [ "$code" -ne 0 ] && [ -n "$stage_name" ]; then
        printf '\n%s: FAILED while %s  [%s]\n' "$0" "$stage_name" "$(elapsed)" >&2
        room >&2
        [ -z "${test_log:-}" ] || failed_tests "$test_log" >&2
    fi
}
trap report_failure EXIT

# --- what the tests need ----------------------------------------------------------------------------------------------

letters_package=asterisk-core-sounds-en-g722

# Where scripts/test puts what the tests need, unless the variables are set.
places_of_test_data() {
    checks="$PWD/target/checks"
    export CABLESIDE_JIWER="${CABLESIDE_JIWER:-$checks/venv/bin/python}"
    export CABLESIDE_LETTERS="${CABLESIDE_LETTERS:-$checks/$letters_package/usr/share/asterisk/sounds/en_US_f_Allison}"
}

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

# What building needs: C for the logbook and the voice, C++ and CMake for the second listener; ALSA for sound.
want_for_building() {
    want g++ command -v g++
    want cmake command -v cmake
    want make command -v make
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
