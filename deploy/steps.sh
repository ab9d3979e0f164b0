# shellcheck shell=bash disable=SC2154,SC2034 # STATE and the like come from state.sh, SCRATCH from the caller
# Steps that deploy/up and deploy/restore share: the state folder, the program, the private
# PostgreSQL, the connection settings. Needs lib.sh, state.sh and a folder SCRATCH.

LOG_LIMIT_BYTES=10000000
HANDED_ON=(PENSTOCK_WORKERS PENSTOCK_QUEUE PENSTOCK_BODY_MEMORY PENSTOCK_LOG_LEVEL PENSTOCK_SECURE_COOKIES
    PENSTOCK_SIGNING_CERTIFICATE PENSTOCK_SIGNING_KEY
    PENSTOCK_TLS_CERTIFICATE PENSTOCK_TLS_KEY PENSTOCK_TLS_CLIENT_CA PENSTOCK_TRUSTED_PROXIES PENSTOCK_PUBLIC_URL
    "${!PENSTOCK_OIDC_@}") # settings that are the server's only
LEFT_TO_UNIT= # a setting without which the server starts only where its unit has it

# What NAME_FILE names, for connection strings that this program needs itself. First line, as the server.
read_connection_files() {
    local name file
    for name in PENSTOCK_DATABASE PENSTOCK_OWNER_DATABASE; do
        file=${name}_FILE
        [[ -n ${!file:-} ]] || continue
        [[ -z ${!name:-} ]] || fail "$name and $file are both set." 'Give one of them.'
        { [[ ${!file} == /* ]] && as_root test -s "${!file}"; } ||
            fail "$file is \"${!file}\"." 'Give the whole path of a file that holds a connection string.'
        printf -v "$name" '%s' "$(as_root head -n 1 "${!file}")"
    done
}

# Refuses a state folder that is not ours, before anything is changed.
check_state_folder() {
    if [[ -e $STATE || -L $STATE ]] && ! state_is_ours; then
        [[ -d $STATE && ! -L $STATE && -z $(as_root ls -A "$STATE") ]] ||
            fail "$STATE exists and was not made by deploy/up." 'Set PENSTOCK_STATE to a folder that does not exist yet.'
        # Whoever owns a folder can put other programs in it, and root runs what lies there.
        [[ $(stat -c %u "$STATE") == 0 || $(stat -c %u "$STATE") == "$EUID" ]] ||
            fail "$STATE belongs to another user." 'Set PENSTOCK_STATE to a folder that does not exist yet.'
    fi
    if state_is_ours && [[ -e $STATE/database ]]; then
        local kind
        kind=$(database_kind)
        [[ $(cat "$STATE/database") == "$kind" ]] ||
            fail "$STATE was made with a $(cat "$STATE/database") database, and this run asks for a $kind one." \
                'Set PENSTOCK_DATABASE as in the first run, or choose another PENSTOCK_STATE.'
    fi
}

database_kind() {
    if [[ -n ${PENSTOCK_DATABASE:-} ]]; then echo given; else echo private; fi
}

# The folder, its user, and a copy of what makes backups, which a timer can run.
prepare_state() {
    if ! getent passwd "$SERVICE_USER" >/dev/null; then
        quiet as_root useradd --system --user-group --no-create-home --home-dir "$STATE" \
            --shell /usr/sbin/nologin "$SERVICE_USER"
    fi
    SERVICE_GROUP=$(id -gn "$SERVICE_USER")
    as_root install -d -m 0755 "$STATE"
    echo "$MARKER_TEXT" | as_root install -m 0644 /dev/stdin "$MARKER"
    state_lock
    as_user "$SERVICE_USER" test -x "$STATE" ||
        fail "The user $SERVICE_USER cannot enter $STATE." 'Choose a PENSTOCK_STATE whose parent folders everyone may enter.'
    as_root install -d -m 0755 "$STATE/bin" "$STATE/run"
    as_root install -d -m 0750 -g "$SERVICE_GROUP" "$STATE/log"
    database_kind | as_root install -m 0644 /dev/stdin "$STATE/database"
    as_root install -d -m 0755 "$STATE/deploy"
    as_root install -m 0755 "$SOURCE"/deploy/{backup,as-service} "$STATE/deploy"
    as_root install -m 0644 "$SOURCE"/deploy/{lib,state,copies}.sh "$STATE/deploy"
}

# In build/release of a source tree that is the caller's own, else below the state folder, so that
# root leaves no files in a user's tree.
build_program() {
    local folder=$SOURCE/build/release
    if [[ ! -w $SOURCE || $(stat -c %u "$SOURCE") != "$EUID" ]]; then
        folder=$STATE/build
        if [[ -e $folder && ($(stat -c %u "$folder") != "$EUID" || $(cat "$folder/source" 2>/dev/null) != "$SOURCE") ]]; then
            as_root rm -rf "$folder" # another caller's, or of another tree
        fi
        as_root install -d -m 0755 -o "$EUID" "$folder"
        echo "$SOURCE" >"$folder/source"
    fi
    build "$folder" release penstock-server penstock-demo-data
    install_program "$folder/server/penstock-server" "$SERVER"
    install_program "$folder/demo-data/penstock-demo-data" "$STATE/bin/penstock-demo-data"
}

# By renaming, so that a running server keeps the file that it runs from.
install_program() {
    if ! cmp -s "$1" "$2"; then
        as_root install -m 0755 "$1" "$2.new"
        as_root mv "$2.new" "$2"
    fi
}

start_database() {
    rotate_log "$PG_LOG"
    as_root install -d -o "$SERVICE_USER" -g "$SERVICE_GROUP" -m 0750 "$PG_SOCKET"
    if ! has_private_cluster; then
        cat >"$SCRATCH/hba" <<'HBA'
# The system user decides who one is; pg_ident.conf says who may be what. No network.
local all all peer map=penstock
HBA
        cat >"$SCRATCH/ident" <<IDENT
penstock root             postgres
penstock $SERVICE_USER    penstock_owner
penstock $SERVICE_USER    penstock_app
IDENT
        pg_create "$SCRATCH/hba" "$SCRATCH/ident"
    fi
    [[ $(as_root stat -c %U "$PG_DATA") == "$SERVICE_USER" ]] ||
        fail "The cluster in $PG_DATA does not belong to $SERVICE_USER." 'Set PENSTOCK_USER as in the first run.'
    if ! pg_runs || ! pg_answers; then
        pg_start
    fi
    pg_prepare_database penstock >>"$STEP_LOG" 2>&1
}

# rotate_log FILE: three older ones are kept. The files belong to the service user only as far as it
# must open them itself; the folder is root's.
rotate_log() {
    if as_root test -s "$1" && (($(as_root stat -c %s "$1") > LOG_LIMIT_BYTES)); then
        local older
        for older in 2 1; do
            ! as_root test -e "$1.$older" || as_root mv "$1.$older" "$1.$((older + 1))"
        done
        as_root mv "$1" "$1.1"
    fi
    as_root test -e "$1" || as_root install -m 0640 -o "$SERVICE_USER" -g "$SERVICE_GROUP" /dev/null "$1"
}

# The key under which second factors are kept: made once, for the server's user alone. Another key cannot
# open what this one has closed, so that backups carry it along. One that the settings name is its owner's
# to make.
make_key() {
    local file=${PENSTOCK_KEY_FILE:-$KEY_FILE}
    if [[ $file == "$KEY_FILE" ]]; then
        as_root test -s "$file" || head -c 32 /dev/urandom | base64 | install_key "$file"
    else
        as_user "$SERVICE_USER" test -r "$file" ||
            fail "The user $SERVICE_USER cannot read $file (PENSTOCK_KEY_FILE)." \
                "Make it that user's, chmod 0600, or leave the setting out: then deploy/up makes a key."
    fi
}

# install_key FILE
install_key() {
    as_root install -m 0600 -o "$SERVICE_USER" -g "$SERVICE_GROUP" /dev/stdin "$1"
}

# Connection strings may hold passwords, so they travel in files that root (and, for its own, the
# server) may read, never on a command line. systemd reads the same files.
write_environment() {
    local local_database="host=$PG_SOCKET dbname=penstock user"
    local database=${PENSTOCK_DATABASE:-$local_database=penstock_app}
    local owner=${PENSTOCK_OWNER_DATABASE:-${PENSTOCK_DATABASE:-$local_database=penstock_owner}}
    local name
    {
        setting PENSTOCK_ADDRESS "$ADDRESS"
        setting PENSTOCK_PORT "$PORT"
        PENSTOCK_DATABASE=$database server_setting PENSTOCK_DATABASE
        setting PENSTOCK_KEY_FILE "${PENSTOCK_KEY_FILE:-$KEY_FILE}"
        for name in "${HANDED_ON[@]}"; do
            server_setting "$name"
        done
    } | as_root install -m 0640 -g "$SERVICE_GROUP" /dev/stdin "$SERVER_ENVIRONMENT"
    as_root grep -qE '^PENSTOCK_DATABASE(_FILE)?=' "$SERVER_ENVIRONMENT" || LEFT_TO_UNIT=PENSTOCK_DATABASE
    {
        setting PENSTOCK_DATABASE "$database"
        setting PENSTOCK_OWNER_DATABASE "$owner"
    } | as_root install -m 0600 /dev/stdin "$OWNER_ENVIRONMENT"
}

# server_setting NAME: its line, or that of NAME_FILE. A file that the server's user cannot read is one that
# the unit hands over as a credential, under a path of its own: to say anything here would undo that.
server_setting() {
    local file=${1}_FILE
    if [[ -z ${!file:-} ]]; then
        [[ -z ${!1:-} ]] || setting "$1" "${!1}"
    elif as_user "$SERVICE_USER" test -r "${!file}"; then
        setting "$file" "${!file}"
    fi
}

# setting NAME VALUE: a line that the shell and systemd read alike.
setting() {
    local value=$2
    value=${value//\\/\\\\}
    value=${value//\"/\\\"}
    value=${value//\$/\\\$}
    value=${value//\`/\\\`}
    printf '%s="%s"\n' "$1" "$value"
}

# run_cli ARGUMENT...: the program's administrative commands, as the service user with the owner's
# connection. Standard input is passed on.
run_cli() {
    as_root "$SOURCE/deploy/as-service" "$SERVICE_USER" "$OWNER_ENVIRONMENT" "$SERVER" "$@"
}

# install_private NAME: standard input as a file that only the caller of deploy/up may read.
install_private() {
    as_root install -m 0600 -o "$EUID" /dev/stdin "$STATE/$1"
}
