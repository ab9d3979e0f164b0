# shellcheck shell=bash disable=SC2034 # some variables are read only by the scripts that source this
# Shared by deploy/up, deploy/down, tests/run and tests/load/run: steps with progress, Debian
# packages, a private PostgreSQL cluster, and demo data. Sourced with `set -euo pipefail` in force.

SOURCE=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
PG_BIN=/usr/lib/postgresql/15/bin
export LC_ALL=C.UTF-8

# ---- steps -----------------------------------------------------------------------------------

STEP_NUMBER=0
STEP_TEXT=
STEP_BEGAN=0
STEP_LOG=/dev/null # the log whose tail explains a failure of this step
STEP_HINT=
LAST_WORD_SAID=

# step TEXT [HINT]: closes the step before it, with its seconds, and opens the next. HINT is what a
# person can do when the step fails.
step() {
    step_end
    STEP_NUMBER=$((STEP_NUMBER + 1))
    STEP_TEXT=$1
    STEP_HINT=${2:-}
    STEP_BEGAN=${EPOCHREALTIME/[.,]/}
    printf '[%2d] %s ... ' "$STEP_NUMBER" "$STEP_TEXT"
}

step_end() {
    [[ -n $STEP_TEXT ]] || return 0
    local tenths=$(((${EPOCHREALTIME/[.,]/} - STEP_BEGAN) / 100000))
    printf '%d.%d s\n' $((tenths / 10)) $((tenths % 10))
    STEP_TEXT=
}

# quiet COMMAND...: what it prints goes to the step's log only.
quiet() {
    "$@" >>"$STEP_LOG" 2>&1
}

# fail MESSAGE [HINT]: ends the program, saying what failed and what can be done.
fail() {
    STEP_HINT=${2:-$STEP_HINT}
    explain_failure "$1"
    exit 1
}

explain_failure() {
    LAST_WORD_SAID=yes
    {
        [[ -z $STEP_TEXT ]] || printf 'FAILED\n'
        printf '\nFailed: %s\n' "$1"
        if [[ -s $STEP_LOG ]]; then
            printf 'Last lines of %s:\n' "$STEP_LOG"
            tail -n 30 "$STEP_LOG" | sed 's/^/  | /'
        fi
        [[ -z $STEP_HINT ]] || printf 'What to do: %s\n' "$STEP_HINT"
    } >&2
}

# For the EXIT trap: a command that ended the program without a word of its own still gets one. The
# log is kept only when it explains a failure.
explain_exit() {
    if [[ $1 != 0 && -z $LAST_WORD_SAID ]]; then
        explain_failure "${STEP_TEXT:-a command} (exit code $1)"
    fi
    [[ $1 != 0 && -s $STEP_LOG ]] || [[ ! -f $STEP_LOG ]] || rm -f "$STEP_LOG"
}

# wait_until SECONDS COMMAND...: polls until the command succeeds.
wait_until() {
    local end=$((SECONDS + $1))
    shift
    until "$@"; do
        ((SECONDS < end)) || return 1
        sleep 0.1
    done
}

# ---- users -----------------------------------------------------------------------------------

as_root() {
    if [[ $EUID == 0 ]]; then "$@"; else sudo -- "$@"; fi
}

require_root_or_sudo() {
    [[ $EUID != 0 ]] || return 0
    command -v sudo >/dev/null || fail 'This needs root, or a user who may use sudo.' \
        'Run it as root, or install sudo and add your user to the group "sudo".'
    sudo -v || fail 'sudo refused.' 'Run it as root, or as a user who may use sudo.'
}

# as_user USER COMMAND...: in a clean environment and a folder that every user may enter. setpriv
# instead of su or runuser: it needs no login shell and leaves no process of its own in between.
as_user() {
    local user=$1 clean=(env -i --chdir=/ PATH=/usr/sbin:/usr/bin:/sbin:/bin LC_ALL=C.UTF-8)
    shift
    if [[ $user == "$(id -un)" ]]; then
        "${clean[@]}" "$@"
    else
        as_root setpriv --reuid="$user" --regid="$(id -gn "$user")" --init-groups "${clean[@]}" "$@"
    fi
}

# ---- Debian packages -------------------------------------------------------------------------

# need_packages PACKAGE...: installs what is missing, and asks no registry when nothing is.
need_packages() {
    local package installed missing=()
    installed=$(dpkg-query -W -f='${db:Status-Status} ${Package}\n' "$@" 2>/dev/null || true)
    for package in "$@"; do
        grep -qxF "installed $package" <<<"$installed" || missing+=("$package")
    done
    [[ ${#missing[@]} -gt 0 ]] || return 0
    command -v apt-get >/dev/null || fail "These packages are missing: ${missing[*]}" \
        'Penstock is made for Debian 12; elsewhere install what these packages hold by hand.'
    printf '%d packages, minutes on a bare machine ... ' "${#missing[@]}"
    quiet apt_get update
    forbid_services
    if [[ " ${missing[*]} " == *' postgresql-15 '* ]]; then
        # Without this the package makes and starts a cluster of its own on port 5432.
        quiet apt_get install postgresql-common
        as_root sed -i 's/^#\?create_main_cluster.*/create_main_cluster = false/' \
            /etc/postgresql-common/createcluster.conf
    fi
    quiet apt_get install "${missing[@]}"
    allow_services
}

apt_get() {
    local command=$1
    shift
    as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -o DPkg::Lock::Timeout=300 \
        "$command" -y --no-install-recommends "$@"
}

# Debian starts a package's services as it installs it; none of them is wanted. A policy that the
# machine has already is left alone.
SERVICE_POLICY=/usr/sbin/policy-rc.d
SERVICES_FORBIDDEN=

forbid_services() {
    [[ ! -e $SERVICE_POLICY ]] || return 0
    printf '#!/bin/sh\nexit 101\n' | as_root install -m 0755 /dev/stdin "$SERVICE_POLICY"
    SERVICES_FORBIDDEN=yes
}

allow_services() {
    [[ -n $SERVICES_FORBIDDEN ]] || return 0
    as_root rm -f "$SERVICE_POLICY"
    SERVICES_FORBIDDEN=
}

BUILD_PACKAGES=(gcc libc6-dev cmake ninja-build pkg-config libmicrohttpd-dev libgnutls28-dev libjansson-dev
    libpq-dev libsodium-dev libutf8proc-dev liboath-dev libcjose-dev libcurl4-openssl-dev libzstd-dev zlib1g-dev
    libcairo2-dev libpango1.0-dev libqpdf-dev liblcms2-dev libcmark-dev duktape-dev libqrencode-dev)
# The fonts are what reports are set in: Latin, Greek, Cyrillic and most other scripts; the last one the Chinese,
# Japanese and Korean signs.
RUN_PACKAGES=(ca-certificates curl jq postgresql-15 fonts-noto-core fonts-droid-fallback)

# Node bundles the pages. A Node of 18 or newer that the machine has already is used as it is, because
# other packagings of it conflict with Debian's.
node_packages() {
    local major
    major=$(node --version 2>/dev/null | sed -n 's/^v\([0-9]*\)\..*/\1/p')
    if [[ ${major:-0} -lt 18 ]] || ! command -v npm >/dev/null; then
        echo nodejs npm
    fi
}

# ---- a private PostgreSQL cluster ------------------------------------------------------------

# The functions below work on these:
PG_USER=      # the system user that owns and runs the cluster; never root
PG_DATA=      # its data folder
PG_SOCKET=    # folder of its socket; the kernel allows 107 bytes for the socket's whole path
PG_LOG=       # what the server says
PG_ADMIN=()   # what a command needs before it to act for the cluster's owner: as_root, or nothing
PG_SETTINGS=  # further lines of postgresql.conf

pg_as() {
    as_user "$PG_USER" "$@"
}

# pg_create [HBA_FILE IDENT_FILE]: initdb, ours to the last file or not there at all. Without the two
# files every user who may enter the socket's folder may connect as anyone.
pg_create() {
    local fresh=$PG_DATA.new
    "${PG_ADMIN[@]}" rm -rf "$fresh"
    "${PG_ADMIN[@]}" install -d -o "$PG_USER" -g "$(id -gn "$PG_USER")" -m 0700 "$fresh"
    quiet pg_as "$PG_BIN/initdb" -D "$fresh" -U postgres --auth-local=trust --auth-host=reject \
        --data-checksums --encoding=UTF8 --locale-provider=icu --icu-locale=und --locale=C.UTF-8
    # Terse errors, because the DETAIL of a refused row would put a patient's data in the log.
    pg_as tee -a "$fresh/postgresql.conf" >/dev/null <<CONF
listen_addresses = ''
unix_socket_directories = '$PG_SOCKET'
unix_socket_permissions = 0777
max_connections = 60
shared_buffers = 128MB
password_encryption = 'scram-sha-256'
log_destination = 'stderr'
log_error_verbosity = terse
log_timezone = 'UTC'
timezone = 'UTC'
$PG_SETTINGS
CONF
    if [[ $# == 2 ]]; then
        pg_as tee "$fresh/pg_hba.conf" <"$1" >/dev/null
        pg_as tee "$fresh/pg_ident.conf" <"$2" >/dev/null
    fi
    "${PG_ADMIN[@]}" mv "$fresh" "$PG_DATA"
}

pg_answers() {
    "${PG_ADMIN[@]}" "$PG_BIN/pg_isready" -q -h "$PG_SOCKET" -U postgres -d postgres
}

# pg_start: pg_ctl's word is not enough, because it also calls a server running that was killed and
# has not been reaped; so the start counts when a connection is answered. Descriptor 9 is a lock of
# deploy/up, which must not outlive it in the database.
pg_start() {
    [[ ${#PG_SOCKET} -le 90 ]] || fail "The socket folder's name is too long: $PG_SOCKET" \
        'Choose a shorter path.'
    local try
    for try in 1 2 3; do
        if quiet pg_as "$PG_BIN/pg_ctl" -D "$PG_DATA" -l "$PG_LOG" -w -t 60 start 9<&- &&
            wait_until 20 pg_answers; then
            return 0
        fi
        echo "start $try of PostgreSQL failed" >>"$STEP_LOG"
        sleep 1
    done
    "${PG_ADMIN[@]}" tail -n 30 "$PG_LOG" >>"$STEP_LOG" || true
    return 1
}

pg_stop() {
    pg_as "$PG_BIN/pg_ctl" -D "$PG_DATA" -m fast -w -t 60 stop
}

# pg_psql ARGUMENT...: as the cluster's superuser, unmoved by anyone's psqlrc.
pg_psql() {
    "${PG_ADMIN[@]}" env --chdir=/ PGOPTIONS=--client-min-messages=warning \
        psql -X -q -v ON_ERROR_STOP=1 -h "$PG_SOCKET" -U postgres "$@"
}

# pg_prepare_database NAME: the database and its two roles, when they are not there yet. The server
# works as penstock_app, which may change rows but not the schema; only `migrate` works as the owner.
pg_prepare_database() {
    pg_psql -d postgres -v name="$1" <<'SQL'
select 'create role penstock_owner login'
 where not exists (select from pg_roles where rolname = 'penstock_owner') \gexec
select 'create role penstock_app login'
 where not exists (select from pg_roles where rolname = 'penstock_app') \gexec
grant penstock_app to penstock_owner;
select format('create database %I owner penstock_owner', :'name')
 where not exists (select from pg_database where datname = :'name') \gexec
select format('revoke all on database %I from public', :'name') \gexec
select format('grant connect on database %I to penstock_app', :'name') \gexec
SQL
}

# ---- the program -----------------------------------------------------------------------------

# build FOLDER PRESET [TARGET...]
build() {
    local folder=$1 preset=$2 targets=()
    shift 2
    [[ $# == 0 ]] || targets=(--target "$@")
    quiet cmake -S "$SOURCE" --preset "$preset" -B "$folder"
    quiet cmake --build "$folder" "${targets[@]}"
}

# random_password: 24 letters, digits, - and _ (144 bits).
random_password() {
    head -c 18 /dev/urandom | base64 | tr '+/' '-_'
}
