// Looks at the database from the side, as its superuser, whom row-level security does not hold.
import {execFile} from 'node:child_process';
import {promisify} from 'node:util';
import {superuserDatabase} from './environment.mjs';

const run = promisify(execFile);

/** libpq string of the private cluster; of a setting that stands twice libpq takes the last. */
export function connection(database, user = null) {
  return `${superuserDatabase()} dbname=${database}${user === null ? '' : ` user=${user}`}`;
}

async function psql(database, sql) {
  const options = ['-X', '-q', '-A', '-t', '-v', 'ON_ERROR_STOP=1', '-d', connection(database), '-c', sql];
  const {stdout} = await run('psql', options, {maxBuffer: 256 * 1024 * 1024});
  return stdout;
}

export async function execute(database, sql) {
  await psql(database, sql);
}

/** Rows of a query as objects. */
export async function rows(database, sql) {
  return JSON.parse(await psql(database, `select coalesce(json_agg(r), '[]') from (${sql}) r`));
}

export async function createDatabase(name) {
  // Test files run side by side: only one of them can make the roles.
  for (const role of ['penstock_owner login createrole', 'penstock_app login']) {
    await execute(
      'postgres',
      `do $$ begin create role ${role};
      exception when duplicate_object or unique_violation then null; end $$`,
    );
  }
  await execute('postgres', `create database ${name} owner penstock_owner`);
  await execute('postgres', `revoke all on database ${name} from public`);
  await execute('postgres', `grant connect on database ${name} to penstock_app`);
}

export async function dropDatabase(name) {
  await execute('postgres', `drop database if exists ${name} with (force)`);
}

const TABLES = [
  'account',
  'session',
  'api_token',
  'former_secret',
  'patient',
  'study',
  'study_link',
  'recording',
  'recording_channel',
  'sample_block',
  'recording_revision',
  'recording_chunk',
  'recording_change',
  'retention_rule',
  'idempotency',
  'analysis_choices',
  'legal_hold',
  'erasure_request',
  'erased_patient',
];

/** How many rows each table holds, and the sum of the versions, so that a change is seen too. */
export async function contents(database) {
  const counts = TABLES.map((table) => `(select count(*) from penstock.${table}) as ${table}`);
  const versions = ['account', 'patient', 'study', 'recording', 'erasure_request'].map(
    (table) => `(select coalesce(sum(version), 0) from penstock.${table}) as ${table}_versions`,
  );
  const [row] = await rows(database, `select ${[...counts, ...versions].join(', ')}`);
  return row;
}
