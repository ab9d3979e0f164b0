# shellcheck shell=bash disable=SC2034 # some variables are read only by the scripts that source this
# A cluster and a server for the length of one run of the tests or the benchmark, in a temporary
# folder that only their user can enter. Needs lib.sh.

SCRATCH=    # the temporary folder
SERVER_URL= # where the server listens
SERVER_PID=

throwaway_begin() {
    # In /tmp whatever TMPDIR says, because a socket's path must be short.
    SCRATCH=$(mktemp -d /tmp/penstock.XXXXXX)
    chmod 0711 "$SCRATCH"
    PG_USER=$(id -un)
    # PostgreSQL refuses to run as root; its package made this user.
    [[ $EUID != 0 ]] || PG_USER=postgres
    PG_SOCKET=$SCRATCH/db/socket
    PG_DATA=$SCRATCH/db/data
    PG_LOG=$SCRATCH/db/log
    PG_ADMIN=()
}

throwaway_database() {
    local group
    group=$(id -gn "$PG_USER")
    install -d -o "$PG_USER" -g "$group" -m 0700 "$SCRATCH/db" "$PG_SOCKET"
    pg_create
    pg_start
}

# throwaway_server PROGRAM DATABASE: migrates a fresh database and serves it on any free port.
throwaway_server() {
    local program=$1 database="host=$PG_SOCKET dbname=$2 user"
    pg_prepare_database "$2" >>"$STEP_LOG" 2>&1
    PENSTOCK_DATABASE="$database=penstock_app" PENSTOCK_OWNER_DATABASE="$database=penstock_owner" \
        quiet "$program" migrate
    (umask 077 && head -c 32 /dev/urandom | base64 >"$SCRATCH/key")
    PENSTOCK_KEY_FILE=$SCRATCH/key PENSTOCK_ADDRESS=127.0.0.1 PENSTOCK_PORT=0 PENSTOCK_DATABASE="$database=penstock_app" \
        "$program" serve </dev/null >"$SCRATCH/server.out" 2>"$SCRATCH/server.log" &
    SERVER_PID=$!
    if ! wait_until 60 server_said_where; then
        cat "$SCRATCH/server.log" >>"$STEP_LOG"
        return 1
    fi
    SERVER_URL=$(sed -n 's/^penstock-server listening on //p' "$SCRATCH/server.out")
}

server_said_where() {
    grep -q '^penstock-server listening on ' "$SCRATCH/server.out" || ! kill -0 "$SERVER_PID" 2>/dev/null
}

# throwaway_clinic PROGRAM DATABASE NAME: the clinic and its administrator, whose password stands in
# $SCRATCH/administrator-password.
throwaway_clinic() {
    local program=$1 id
    local -x PENSTOCK_OWNER_DATABASE="host=$PG_SOCKET dbname=$2 user=penstock_owner"
    local -x PENSTOCK_DATABASE=$PENSTOCK_OWNER_DATABASE
    id=$("$program" clinic add "$3" 2>>"$STEP_LOG")
    (umask 077 && random_password >"$SCRATCH/administrator-password")
    quiet "$program" administrator first "$id" administrator <"$SCRATCH/administrator-password"
}

# throwaway_server_stop: its exit code, which is not 0 when a sanitiser found a leak.
throwaway_server_stop() {
    local pid=$SERVER_PID
    [[ -n $pid ]] || return 0
    SERVER_PID=
    kill -TERM "$pid" 2>/dev/null || true
    wait "$pid"
}

throwaway_end() {
    [[ -n $SCRATCH ]] || return 0
    throwaway_server_stop || true
    if [[ -s $PG_DATA/postmaster.pid ]]; then
        pg_stop >/dev/null 2>&1 || true
    fi
    rm -rf "$SCRATCH"
}
