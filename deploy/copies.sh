# shellcheck shell=bash disable=SC2034 # the variables are read by the scripts that source this
# What deploy/backup and deploy/restore know of a backup and of the database. Needs lib.sh, state.sh
# and a folder SCRATCH.
#
# A backup is a folder penstock-<UTC time> of
#   about          what it is, as NAME=VALUE lines
#   checksums      one of every recording, as `penstock-server verify` prints them
#   audit-heads    the last entry of each chain of the audit, as `penstock-server audit verify` prints
#                  them; not in backups of versions that had no audit
#   database.dump  pg_dump's custom format
#   settings/      what deploy/up keeps beside the database, without connection strings
#   MANIFEST       SHA-256 of every other file, and a last line that counts them

BACKUP_FORMAT=1
BACKUP_PATTERN='^penstock-[0-9]{8}T[0-9]{6}Z$'

# manifest_write FOLDER
manifest_write() {
    (
        cd "$1" || exit
        local files
        mapfile -d '' -t files < <(find . -type f ! -name MANIFEST -printf '%P\0' | sort -z)
        sha256sum -- "${files[@]}"
        printf '# end of %d files\n' "${#files[@]}"
    ) >"$1/MANIFEST"
}

# manifest_is_whole FOLDER: whether the backup was finished; quick, and no proof of its content.
manifest_is_whole() {
    [[ -f $1/MANIFEST && $(tail -n 1 "$1/MANIFEST") == "# end of $(grep -vc '^#' "$1/MANIFEST" || true) files" ]]
}

# manifest_check FOLDER: fails, naming every file that is missing, too many, or not as it was.
manifest_check() {
    manifest_is_whole "$1" || fail "$1 is no complete backup: its MANIFEST is missing or cut." 'Take another one.'
    local faults
    faults=$(
        cd "$1" || exit
        sha256sum --check --quiet MANIFEST 2>&1 || true
        # What is neither listed nor there says the first command; what is there and not listed, this.
        comm -13 <(sed -n 's/^[0-9a-f]\{64\}  //p' MANIFEST | sort) \
            <(find . -type f ! -path ./MANIFEST -printf '%P\n' | sort) | sed 's/$/: not in the MANIFEST/'
        for file in about checksums database.dump; do
            grep -qE "^[0-9a-f]{64}  $file\$" MANIFEST || echo "$file: missing in the MANIFEST"
        done
    )
    [[ -z $faults ]] || fail "$1 is damaged:"$'\n'"$faults" 'Take another backup; nothing was changed.'
}

# about FOLDER NAME: a value out of what a backup says about itself.
about() {
    sed -n "s/^$2=//p" "$1/about"
}

# checksums_are_whole FILE: whether the list was written to its end.
checksums_are_whole() {
    [[ $(tail -n 1 "$1") =~ ^'# '[0-9]+' recordings of ' ]]
}

# heads_are_whole FILE: the same for the heads of the audit.
heads_are_whole() {
    [[ $(tail -n 1 "$1") =~ ^'# '[0-9]+' entries of ' ]]
}

# checksum_format FILE
checksum_format() {
    tail -n 1 "$1" | sed -n 's/.*checksum format //p'
}

# recordings_of FILE: "clinic recording checksum" lines, for comm and join.
recordings_of() {
    grep -v '^#' "$1" | LC_ALL=C sort || true
}

# write_service PROGRAM CONNECTION: makes PostgreSQL's own programs find the connection as
# service=penstock, without a password on their command lines.
write_service() {
    (umask 077 && PENSTOCK_OWNER_DATABASE=$2 "$1" service-file >"$SCRATCH/service" 2>>"$STEP_LOG") ||
        fail 'The connection string cannot be used.' 'See https://www.postgresql.org/docs/15/libpq-connect.html for its form.'
}

# with_service COMMAND...: psql, pg_dump or pg_restore that is given -d service=penstock. As root in
# the private cluster, where the system user decides who one is.
DATABASE_ADMIN=()
with_service() {
    "${DATABASE_ADMIN[@]}" env --chdir=/ PGSERVICEFILE="$SCRATCH/service" \
        PGOPTIONS='--client-min-messages=warning' "$PG_BIN/$1" -d service=penstock "${@:2}"
}

# ask SQL: the answer as plain text.
ask() {
    with_service psql -X -q -A -t -v ON_ERROR_STOP=1 -c "$1" 2>>"$STEP_LOG"
}
