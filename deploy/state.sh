# shellcheck shell=bash disable=SC2034 # the variables are read by the scripts that source this
# What deploy/up and deploy/down know of one deployment: its settings, its folder, what runs in it.

STATE=$(realpath -m -- "${PENSTOCK_STATE:-/var/lib/penstock}")
SERVICE_USER=${PENSTOCK_USER:-penstock}
ADDRESS=${PENSTOCK_ADDRESS:-127.0.0.1}
PORT=${PENSTOCK_PORT:-8080}

MARKER=$STATE/.penstock-state
MARKER_TEXT='Penstock state folder, version 1'
SERVER=$STATE/bin/penstock-server
SERVER_LOG=$STATE/log/server.log
SERVER_PID_FILE=$STATE/run/server.pid
SERVER_STARTED_WITH=$STATE/run/started-with
SERVER_ENVIRONMENT=$STATE/server.env
OWNER_ENVIRONMENT=$STATE/owner.env
KEY_FILE=$STATE/key

PG_USER=$SERVICE_USER
PG_DATA=$STATE/pg
PG_LOG=$STATE/log/postgresql.log
PG_ADMIN=(as_root)
# Not below the state folder, whose path may be too long for a socket.
PG_SOCKET=/run/penstock
if [[ $STATE != /var/lib/penstock ]]; then
    PG_SOCKET+=-$(printf '%s' "$STATE" | sha256sum | cut -c 1-12)
fi

# Whether the folder carries our mark: nothing is changed or deleted in any other.
state_is_ours() {
    [[ -f $MARKER && ! -L $MARKER && ! -L $STATE && $(stat -c %u "$MARKER") == 0 &&
        $(cat "$MARKER") == "$MARKER_TEXT" ]]
}

# Two runs at once would undo each other. Everything that outlives this program closes descriptor 9.
state_lock() {
    exec 9<"$STATE"
    flock -n 9 || fail "Another run of deploy/up or deploy/down works on $STATE." \
        'Wait until it has ended, then run this again.'
}

# The server's process id, when the one that deploy/up (or systemd) started still runs. A number that
# another program has taken over since does not count.
server_pid() {
    local pid executable
    for pid in $(cat "$SERVER_PID_FILE" 2>/dev/null) $(unit_pid penstock.service); do
        executable=$(as_root readlink "/proc/$pid/exe" 2>/dev/null || true)
        if [[ ${executable% (deleted)} == "$SERVER" ]]; then
            echo "$pid"
            return 0
        fi
    done
    return 1
}

# unit_pid UNIT: main process of a running systemd unit, if this machine has systemd and the unit.
unit_pid() {
    [[ -d /run/systemd/system ]] || return 0
    systemctl show --property=MainPID --value "$1" 2>/dev/null | grep -vx 0 || true
}

server_runs() {
    server_pid >/dev/null
}

server_is_gone() {
    ! server_runs
}

# SIGTERM lets the server finish the requests that it has begun.
server_stop() {
    local pid
    pid=$(server_pid) || return 0
    as_root kill -TERM "$pid"
    if ! wait_until 45 server_is_gone; then
        as_root kill -KILL "$pid"
        wait_until 10 server_is_gone
    fi
    as_root rm -f "$SERVER_PID_FILE" "$SERVER_STARTED_WITH"
}

pg_runs() {
    pg_as "$PG_BIN/pg_ctl" -D "$PG_DATA" status >/dev/null 2>&1
}

# The private cluster is ours to start and stop; a database that was given is not.
has_private_cluster() {
    as_root test -s "$PG_DATA/PG_VERSION"
}
