// deploy/backup, deploy/restore and penstock-server verify: what was stored comes back, or is named.
// For root, or a user who may use sudo.
import assert from 'node:assert/strict';
import {execFile, execFileSync, spawn} from 'node:child_process';
import {createHash} from 'node:crypto';
import {once} from 'node:events';
import {
  chmodSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  truncateSync,
  writeFileSync,
} from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {Clinic, PASSWORD, signIn} from '../api/lib/clinic.mjs';
import {connection, createDatabase, dropDatabase, execute, rows} from '../api/lib/database.mjs';
import {serverProgram, SOURCE} from '../api/lib/environment.mjs';
import {Installation} from '../api/lib/installation.mjs';
import {letterSettings} from '../api/lib/recipes.mjs';
import {channel, uroflowmetry} from '../api/lib/recordings.mjs';
import {until} from './lib/room.mjs';

const KEEPER = `penstock_test_keeper_${process.pid}`;
const {document: FLOW} = uroflowmetry({grid: {rate_hz: 10, duration_s: 45}});
/** Long enough for overviews, also of the detrusor pressure that follows from the two. */
const PRESSURE_GRID = {rate_hz: 100, duration_s: 700, decimals: 1};
const PRESSURES = {
  ...FLOW,
  type: 'cystometry',
  conditions: {position: 'sitting'},
  channels: [
    channel('pves', 'cm[H2O]', PRESSURE_GRID, (t) => 30 + 5 * Math.sin(t / 7)),
    channel('pabd', 'cm[H2O]', PRESSURE_GRID, (t) => 28 + 4 * Math.sin(t / 7)),
  ],
  events: [],
};
const BACKUP_NAME = /^penstock-\d{8}T\d{6}Z$/;

let installation;
let clinic;
let other;
let folder; // of everything that the test leaves on the disk
let backups;
let good; // the backup that the tests work with
const databases = [];
const kinds = {}; // ids of the recordings, by what they are

const startingAt = (number) => ({
  ...FLOW,
  started_at: new Date(Date.UTC(2026, 2, 2, 9, 0, number)).toISOString(),
});

/** Runs a program; its exit code and what it printed. */
function run(program, options, env) {
  return new Promise((resolve) => {
    execFile(program, options, {env: {...process.env, ...env}, maxBuffer: 1 << 26}, (error, stdout, stderr) =>
      resolve({code: error === null ? 0 : (error.code ?? error.signal), stdout, stderr}),
    );
  });
}

const verify = (database, options = [], user = 'penstock_owner') =>
  run(serverProgram(), ['verify', ...options], {PENSTOCK_OWNER_DATABASE: connection(database, user)});

/** {recording id: checksum} and the last line. */
function parseChecksums(text) {
  const lines = text.trimEnd().split('\n');
  const last = lines.pop();
  assert.match(last, /^# \d+ recordings of \d+ clinics: .*; checksum format 2$/);
  assert.deepEqual(lines, lines.slice().sort());
  return {lines, last, byId: Object.fromEntries(lines.map((line) => line.split(' ').slice(1)))};
}

const damageOf = ({stderr}) =>
  stderr
    .split('\n')
    .filter(Boolean)
    .map((text) => JSON.parse(text))
    .filter(({event}) => event === 'damaged');

const backupEnvironment = (database, user = null) => ({
  PENSTOCK_STATE: path.join(folder, 'no state folder'),
  PENSTOCK_PROGRAM: serverProgram(),
  PENSTOCK_BACKUP_DATABASE: connection(database, user),
  TMPDIR: folder,
});

const backup = (options = [], database = installation.database, user = null) =>
  run(path.join(SOURCE, 'deploy/backup'), [backups, ...options], backupEnvironment(database, user));

const listBackups = () => readdirSync(backups).sort();

/** An empty database of an owner. */
async function emptyDatabase(owner = 'penstock_owner') {
  const name = `penstock_restored_${process.pid}_${databases.length}`;
  databases.push(name);
  await createDatabase(name);
  await execute('postgres', `alter database ${name} owner to ${owner}`);
  return {name, owner, state: path.join(folder, `state-${databases.length}`)};
}

const restore = (from, {name, owner, state}, options = []) =>
  run(path.join(SOURCE, 'deploy/restore'), [from, ...options], {
    PENSTOCK_STATE: state,
    // A user that is there already, and who may enter the cluster's folder.
    PENSTOCK_USER: process.getuid() === 0 ? 'postgres' : os.userInfo().username,
    PENSTOCK_PROGRAM: serverProgram(),
    PENSTOCK_DATABASE: connection(name, 'penstock_app'),
    PENSTOCK_OWNER_DATABASE: connection(name, owner),
    TMPDIR: folder,
  });

/** The folder's MANIFEST as it would be had its files always been so. */
function forgeManifest(name) {
  const files = execFileSync('find', ['.', '-type', 'f', '!', '-name', 'MANIFEST', '-printf', '%P\\n'], {
    cwd: name,
    encoding: 'utf8',
  });
  const list = files.trim().split('\n').sort();
  const lines = list.map((file) => {
    const digest = createHash('sha256').update(readFileSync(path.join(name, file)));
    return `${digest.digest('hex')}  ${file}\n`;
  });
  writeFileSync(path.join(name, 'MANIFEST'), `${lines.join('')}# end of ${list.length} files\n`);
}

/** Sends JSON as the clinic's clinician, who may do all that is done here. */
async function send(method, target, json, headers = {}) {
  const response = await fetch(installation.url + target, {
    method,
    headers: {authorization: `Bearer ${clinic.tokens.clinician}`, 'content-type': 'application/json', ...headers},
    body: JSON.stringify(json),
  });
  const text = await response.text();
  assert.ok(response.ok, `${method} ${target}: ${response.status} ${text.slice(0, 500)}`);
  return {json: JSON.parse(text), etag: response.headers.get('etag')};
}

async function upload(one, document) {
  const study = await one.addVisit();
  return (await one.addRecording(study.id, document)).json.recording.id;
}

/** A recording that comes in three pieces. */
async function sendPieces(complete) {
  const study = await clinic.addVisit();
  const {type, started_at, conditions, channels} = FLOW;
  const {samples, ...channel} = channels[0];
  const opening = {study_id: study.id, type, started_at, conditions, channels: [channel]};
  const {id} = (await send('POST', '/v1/recordings', opening)).json;
  const third = samples.length / 3;
  for (let number = 0; number < 3; number++) {
    const first = number * third;
    const piece = {signal: 'flow', first, samples: samples.slice(first, first + third)};
    await send('PUT', `/v1/recordings/${id}/chunks/${number}`, {channels: [piece], events: []});
  }
  if (complete) {
    await send('POST', `/v1/recordings/${id}/completion`, {chunks: 3});
  }
  return id;
}

async function reviseEvents(id) {
  for (const note of ['seen', 'seen again']) {
    const response = await fetch(`${installation.url}/v1/recordings/${id}/events`, {
      headers: {authorization: `Bearer ${clinic.tokens.clinician}`},
    });
    await response.arrayBuffer();
    await send('PUT', `/v1/recordings/${id}/events`, {events: [{at_s: 3, code: 'comment', note}]}, {
      'if-match': response.headers.get('etag'),
    });
  }
}

async function sendLetter(studyId) {
  const clinician = clinic.as('clinician');
  await clinician.expect(200, 'PUT', `/v1/studies/${studyId}/letter/settings`, {
    json: letterSettings(),
    headers: {'if-match': '"0"'},
  });
  await clinician.post(`/v1/studies/${studyId}/letter/dispatches`, {way: 'printed'});
}

before(async () => {
  folder = mkdtempSync(path.join(os.tmpdir(), 'penstock-backup-test-'));
  chmodSync(folder, 0o755);
  backups = path.join(folder, 'backups');
  installation = await Installation.create('backup');
  await execute('postgres', `create role ${KEEPER} login; grant penstock_app to ${KEEPER}`);
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the copies');
  other = await Clinic.open(installation, 'Clinic beside it');
  kinds.plain = await upload(clinic, startingAt(1));
  kinds.pressures = await upload(clinic, PRESSURES);
  kinds.beside = await upload(other, startingAt(1));
  kinds.revised = await upload(clinic, startingAt(2));
  await reviseEvents(kinds.revised);
  kinds.withdrawn = await upload(clinic, startingAt(3));
  const {etag} = await send('POST', `/v1/recordings/${kinds.withdrawn}/withdrawal`, {reason: 'of another patient'}, {
    'if-match': '"1"',
  });
  assert.ok(etag === null || etag === '"2"');
  kinds.open = await sendPieces(false);
  kinds.pieces = await sendPieces(true);
  const {id} = await clinic.addVisit();
  kinds.signed = (await clinic.addRecording(id, startingAt(4))).json.recording.id;
  await clinic.sign(id);
  await sendLetter(id);
});

after(async () => {
  try {
    await installation.remove();
    for (const name of databases) {
      await dropDatabase(name);
    }
    await execute('postgres', `drop role if exists ${KEEPER}`);
  } finally {
    const remove = ['rm', '-rf', folder];
    execFileSync(process.getuid() === 0 ? 'env' : 'sudo', remove);
  }
});

describe('verify', () => {
  it('gives every recording of every clinic a checksum, in order, twice the same', async () => {
    const {code, stdout, stderr} = await verify(installation.database);
    assert.equal(code, 0, stderr);
    const {byId, last} = parseChecksums(stdout);
    const stored = await installation.rows('select id from penstock.recording');
    assert.deepEqual(Object.keys(byId).sort(), stored.map(({id}) => id).sort());
    assert.deepEqual(Object.keys(byId).sort(), Object.values(kinds).sort());
    assert.equal(new Set(Object.values(byId)).size, Object.keys(byId).length);
    assert.ok(Object.values(byId).every((text) => /^[0-9a-f]{64}$/.test(text)));
    const [counts] = await installation.rows(
      `select (select count(*) from penstock.sample_block) as blocks,
         (select count(*) from penstock.recording_revision) as revisions,
         (select count(*) from penstock.recording_chunk) as pieces`,
    );
    assert.match(last, / 2 clinics: /);
    assert.ok(
      last.includes(`${counts.blocks} sample blocks, ${counts.revisions} revisions, ${counts.pieces} pieces; 0 damaged`),
      last,
    );
    assert.equal((await verify(installation.database)).stdout, stdout);
  });

  it('writes a file, and takes one clinic with the rights of the server', async () => {
    const file = path.join(folder, 'checksums');
    const {code, stdout} = await verify(installation.database, ['--checksums', file]);
    assert.equal(code, 0);
    assert.equal(stdout, '');
    const all = parseChecksums(readFileSync(file, 'utf8'));
    const one = await verify(installation.database, ['--clinic', other.id], 'penstock_app');
    assert.equal(one.code, 0, one.stderr);
    const mine = parseChecksums(one.stdout);
    assert.deepEqual(mine.lines, [`${other.id} ${kinds.beside} ${all.byId[kinds.beside]}`]);
  });

  it('refuses what it cannot do', async () => {
    const none = '00000000-0000-7000-8000-000000000000';
    for (const options of [['--clinic', 'x'], ['--clinic', none], ['--snapshot', "'; --"], ['--snapshot', ''], ['--x']]) {
      const {code, stdout} = await verify(installation.database, options);
      assert.equal(code, 2, options.join(' '));
      assert.ok(!stdout.includes('# '), 'no last line');
    }
    const app = await verify(installation.database, [], 'penstock_app');
    assert.equal(app.code, 2);
    assert.match(app.stderr, /PENSTOCK_OWNER_DATABASE/);
    const away = await run(serverProgram(), ['verify'], {PENSTOCK_OWNER_DATABASE: 'host=/nonexistent dbname=none'});
    assert.equal(away.code, 2);
  });
});

describe('a backup', () => {
  it('is refused to a role that does not see every row', async () => {
    const {code, stderr} = await backup([], installation.database, 'penstock_owner');
    assert.equal(code, 1);
    assert.match(stderr, /role penstock_owner may not see every row/);
    assert.match(stderr, /bypassrls/);
    assert.ok(!existsSync(backups));
  });

  it('is made of one moment while somebody uploads', async () => {
    let number = 100;
    let more = true;
    const writer = (async () => {
      const study = await clinic.addVisit();
      while (more) {
        await clinic.addRecording(study.id, startingAt(number++));
      }
    })();
    await until(() => number > 101, 'an upload');
    const {code, stdout, stderr} = await backup();
    more = false;
    await writer;
    assert.equal(code, 0, stderr);
    const names = listBackups();
    assert.equal(names.length, 1, names.join(' '));
    assert.match(names[0], BACKUP_NAME);
    good = path.join(backups, names[0]);
    assert.ok(stdout.includes(good));
    const {lines} = parseChecksums(readFileSync(path.join(good, 'checksums'), 'utf8'));
    const [{count}] = await installation.rows('select count(*)::int from penstock.recording');
    assert.ok(lines.length > Object.keys(kinds).length, 'uploads before the snapshot are in it');
    assert.ok(lines.length < count, 'and those behind it are not');
    for (const file of ['.', 'about', 'database.dump', 'MANIFEST']) {
      assert.equal(statSync(path.join(good, file)).mode & 0o077, 0, `${file} is for its owner only`);
    }
  });

  it('that is cut in the middle is none, and leaves the next one its way', async () => {
    const child = spawn(path.join(SOURCE, 'deploy/backup'), [backups], {
      env: {...process.env, ...backupEnvironment(installation.database)},
      stdio: 'ignore',
      detached: true,
    });
    const ended = once(child, 'exit');
    const partial = () => listBackups().find((name) => name.startsWith('.'));
    await until(() => partial() !== undefined && existsSync(path.join(backups, partial(), 'database.dump')), 'a dump');
    process.kill(-child.pid, 'SIGKILL');
    await ended;
    assert.deepEqual(
      listBackups().filter((name) => !name.startsWith('.')),
      [path.basename(good)],
    );
    const cut = path.join(folder, 'cut');
    renameSync(path.join(backups, partial()), cut);
    const {code, stderr} = await restore(cut, await emptyDatabase());
    assert.equal(code, 1);
    assert.match(stderr, /no complete backup/);
    mkdirSync(path.join(backups, '.penstock-partial.left'));
    const again = await backup();
    assert.equal(again.code, 0, again.stderr);
    assert.equal(partial(), undefined, 'what was left is gone');
    assert.equal(listBackups().length, 2);
  });

  it('waits where a backup has the name of that second', async () => {
    const taken = path.join(backups, 'penstock-20200301T000000Z');
    const tools = path.join(folder, 'tools');
    const asked = path.join(folder, 'asked');
    mkdirSync(taken);
    mkdirSync(tools);
    // A clock that stands still for the first three looks at it.
    writeFileSync(
      path.join(tools, 'date'),
      `#!/bin/bash
if [[ $* == *+%Y%m%dT%H%M%SZ ]] && { echo >>'${asked}'; (($(wc -l <'${asked}') <= 3)); }; then
    echo 20200301T000000Z
else
    PATH=\${PATH#*:} exec date "$@"
fi
`,
      {mode: 0o755},
    );
    const {code, stdout, stderr} = await run(path.join(SOURCE, 'deploy/backup'), [backups], {
      ...backupEnvironment(installation.database),
      PATH: `${tools}:${process.env.PATH}`,
    });
    assert.equal(code, 0, stderr);
    const made = stdout.match(/^(.*penstock-\d{8}T\d{6}Z):/m)[1];
    assert.notEqual(made, taken);
    assert.equal(readFileSync(asked, 'utf8').length, 4, 'looked until a name was free');
    assert.deepEqual(readdirSync(taken), [], 'what has the name is left alone');
    rmSync(made, {recursive: true});
    rmSync(taken, {recursive: true});
  });

  it('takes the place of the older ones where --keep says so', async () => {
    cpSync(good, path.join(backups, 'penstock-20200101T000000Z'), {recursive: true});
    const incomplete = path.join(backups, 'penstock-20200102T000000Z');
    cpSync(good, incomplete, {recursive: true});
    truncateSync(path.join(incomplete, 'MANIFEST'), 100);
    mkdirSync(path.join(backups, 'something else'));
    const kept = path.join(folder, 'kept');
    cpSync(good, kept, {recursive: true});
    good = kept;
    const {code, stdout, stderr} = await backup(['--keep', '2']);
    assert.equal(code, 0, stderr);
    assert.match(stdout, /Removed .*penstock-20200101T000000Z/);
    const names = listBackups();
    assert.equal(names.filter((name) => name > 'penstock-2021' && BACKUP_NAME.test(name)).length, 2);
    assert.ok(names.includes('penstock-20200102T000000Z'), 'what is not complete counts for nothing and stays');
    assert.ok(names.includes('something else'));
    rmSync(incomplete, {recursive: true});
    for (const options of [['--keep'], ['--keep', '0'], ['--keep', 'x'], ['--else'], ['another']]) {
      assert.equal((await backup(options)).code, 1, options.join(' '));
    }
  });
});

describe('a backup that is not what it was', () => {
  const spoilt = async (name, spoil, words) => {
    const copy = path.join(folder, name);
    cpSync(good, copy, {recursive: true});
    spoil(copy);
    const place = await emptyDatabase();
    const {code, stderr} = await restore(copy, place);
    assert.equal(code, 1);
    assert.match(stderr, words);
    assert.ok(!existsSync(place.state), 'nothing was made');
    assert.deepEqual(await rows(place.name, `select from pg_namespace where nspname = 'penstock'`), []);
  };

  it('is refused: one byte of the dump', () =>
    spoilt(
      'byte',
      (copy) => {
        const file = path.join(copy, 'database.dump');
        const bytes = readFileSync(file);
        bytes[bytes.length >> 1] ^= 1;
        writeFileSync(file, bytes);
      },
      /database\.dump: FAILED/,
    ));

  it('is refused: a dump that ends early', () =>
    spoilt(
      'short',
      (copy) => {
        const file = path.join(copy, 'database.dump');
        truncateSync(file, statSync(file).size - 100);
      },
      /database\.dump: FAILED/,
    ));

  it('is refused: a manifest that ends early, or at a line', () =>
    Promise.all([
      spoilt('cut-manifest', (copy) => truncateSync(path.join(copy, 'MANIFEST'), 150), /no complete backup/),
      spoilt('no-manifest', (copy) => rmSync(path.join(copy, 'MANIFEST')), /no complete backup/),
      spoilt(
        'fewer-lines',
        (copy) => {
          const file = path.join(copy, 'MANIFEST');
          const lines = readFileSync(file, 'utf8').split('\n');
          writeFileSync(file, lines.filter((line) => !line.endsWith('checksums')).join('\n'));
        },
        /no complete backup/,
      ),
    ]));

  it('is refused: a file missing, a file too many', () =>
    Promise.all([
      spoilt('missing', (copy) => rmSync(path.join(copy, 'about')), /about: FAILED open or read/),
      spoilt('extra', (copy) => writeFileSync(path.join(copy, 'more'), ''), /more: not in the MANIFEST/),
    ]));
});

describe('a restored backup', () => {
  let place;
  let checksums;

  it('has every recording as it was, also with an owner of another name', async () => {
    place = await emptyDatabase(KEEPER);
    const {code, stdout, stderr} = await restore(good, place);
    assert.equal(code, 0, stderr);
    checksums = parseChecksums(readFileSync(path.join(good, 'checksums'), 'utf8'));
    assert.ok(stdout.includes(`\n${checksums.lines.length} recordings, all checksums equal\n`), stdout);
    const again = await verify(place.name, [], KEEPER);
    assert.equal(again.code, 0, again.stderr);
    assert.deepEqual(parseChecksums(again.stdout).byId, checksums.byId);
    const owners = await rows(
      place.name,
      `select distinct relowner::regrole::text as name from pg_class
       where relnamespace = 'penstock'::regnamespace`,
    );
    assert.deepEqual(owners, [{name: KEEPER}]);
  });

  it('can be served', async () => {
    const restored = Object.assign(new Installation(), {
      database: place.name,
      folder: mkdtempSync(path.join(folder, 'server-')),
      starts: 0,
    });
    restored.log = path.join(restored.folder, 'server.log');
    await restored.start();
    try {
      assert.equal((await fetch(`${restored.url}/readyz`)).status, 200);
      await signIn(restored.url, clinic.username, PASSWORD);
      const headers = {authorization: `Bearer ${clinic.tokens.room}`};
      for (const what of ['analysis', 'events', 'traces']) {
        const [now, then] = await Promise.all(
          [restored, installation].map(async ({url}) => {
            const answer = await fetch(`${url}/v1/recordings/${kinds.revised}/${what}`, {headers});
            assert.equal(answer.status, 200, what);
            return answer.text();
          }),
        );
        assert.equal(now, then, what);
      }
    } finally {
      await restored.stop();
    }
    restored.checkLog();
  });

  it('is not overwritten by mistake', async () => {
    const {code, stderr} = await restore(good, place);
    assert.equal(code, 1);
    assert.match(stderr, /holds data already/);
    assert.deepEqual(parseChecksums((await verify(place.name, [], KEEPER)).stdout).byId, checksums.byId);
  });

  it('that is damaged afterwards says where', async () => {
    const [{levels}] = await rows(
      place.name,
      `select array_agg(distinct channel_number || ':' || level) as levels from penstock.sample_block
       where recording_id = '${kinds.pressures}'`,
    );
    assert.deepEqual(levels.sort(), ['-1:1', '-1:2', '0:0', '0:1', '0:2', '1:0', '1:1', '1:2']);
    await execute(
      place.name,
      `set session_replication_role = replica;
       update penstock.sample_block set data = set_byte(data, 20, get_byte(data, 20) # 1)
         where recording_id = '${kinds.plain}' and channel_number = 0 and level = 0 and block_number = 0;
       delete from penstock.sample_block
         where recording_id = '${kinds.pressures}' and (channel_number, level, block_number) in
           ((-1, 1, 0), (0, 0, 17), (1, 2, 0));
       update penstock.sample_block set block_number = 90
         where recording_id = '${kinds.pressures}' and (channel_number, level, block_number) = (1, 0, 3);
       update penstock.recording_revision set events = '[]'
         where recording_id = '${kinds.revised}' and revision = 2;
       delete from penstock.recording_revision where recording_id = '${kinds.beside}';
       update penstock.recording_chunk set data = set_byte(data, 12, get_byte(data, 12) # 1)
         where recording_id = '${kinds.open}' and number = 1;
       alter table penstock.signed_document drop constraint signed_document_hash;
       update penstock.signed_document set content = set_byte(content, 12, get_byte(content, 12) # 1);
       alter table penstock.letter_dispatch drop constraint letter_dispatch_hash;
       update penstock.letter_dispatch set pdf = set_byte(pdf, 12, get_byte(pdf, 12) # 1);`,
    );
    const answer = await verify(place.name, [], KEEPER);
    assert.equal(answer.code, 1);
    const found = damageOf(answer).map(({clinic_id, recording_id, channel, level, block, detail}) => ({
      clinic_id,
      recording_id,
      place: channel === undefined ? null : [channel, level, block],
      detail,
    }));
    const expected = [
      {clinic_id: clinic.id, recording_id: kinds.plain, place: [0, 0, 0], detail: 'sample block with a wrong checksum'},
      ...[
        [-1, 1, 0],
        [0, 0, 17],
        [1, 0, 3],
        [1, 2, 0],
      ].map((place) => ({
        clinic_id: clinic.id,
        recording_id: kinds.pressures,
        place,
        detail: 'sample block missing',
      })),
      {
        clinic_id: clinic.id,
        recording_id: kinds.pressures,
        place: [1, 0, 90],
        detail: 'sample block that the recording does not have',
      },
      {clinic_id: other.id, recording_id: kinds.beside, place: null, detail: 'its newest revision is 0, not 1'},
      {clinic_id: clinic.id, recording_id: kinds.open, place: null, detail: 'piece 1 does not unpack to what was sent'},
      {
        clinic_id: clinic.id,
        recording_id: kinds.signed,
        place: null,
        detail: 'the report of signature 1 of its study is not the one that was signed',
      },
      {
        clinic_id: clinic.id,
        recording_id: kinds.signed,
        place: null,
        detail: 'a letter of its study is not the one that was sent',
      },
    ];
    const texts = (list) => list.map((one) => JSON.stringify(one, Object.keys(one).sort())).sort();
    assert.deepEqual(texts(found), texts(expected));
    const {byId, last} = parseChecksums(answer.stdout);
    assert.match(last, /; 10 damaged;/);
    const changed = Object.keys(byId).filter((id) => byId[id] !== checksums.byId[id]);
    const touched = [kinds.plain, kinds.pressures, kinds.revised, kinds.beside, kinds.open, kinds.signed];
    assert.deepEqual(changed.sort(), touched.sort(), 'the revision that was changed shows in its checksum');
  });

  it('that is damaged is still backed up, with a word, and removes no older backup', async () => {
    const older = listBackups();
    const {code, stderr} = await backup(['--keep', '1'], place.name);
    assert.equal(code, 1);
    assert.match(stderr, new RegExp(`${kinds.pressures}.*sample block missing`));
    assert.match(stderr, /no older one was removed/);
    const names = listBackups();
    assert.deepEqual(
      names.filter((name) => older.includes(name)),
      older,
    );
    assert.equal(names.length, older.length + 1);
  });

  it('whose dump was changed with its manifest is found out, recording by recording', async () => {
    const newest = path.join(backups, listBackups().filter((name) => BACKUP_NAME.test(name)).at(-1));
    const forged = path.join(folder, 'forged');
    cpSync(good, forged, {recursive: true});
    cpSync(path.join(newest, 'database.dump'), path.join(forged, 'database.dump'));
    // Made by the restored copy, whose owner has another name than the backup's.
    const about = path.join(forged, 'about');
    writeFileSync(about, readFileSync(about, 'utf8').replace(/^owner=.*$/m, `owner=${KEEPER}`));
    forgeManifest(forged);
    const {code, stdout, stderr} = await restore(forged, await emptyDatabase());
    assert.equal(code, 1);
    assert.ok(!stdout.includes('all checksums equal'));
    assert.equal(stderr.match(/: backup /g).length, 6, 'each is said once');
    const named = [...stderr.matchAll(/clinic (\S+) recording (\S+): backup ([0-9a-f]{64}), restored ([0-9a-f]{64})/g)];
    assert.deepEqual(
      named.map(([, , id]) => id).sort(),
      [kinds.plain, kinds.pressures, kinds.revised, kinds.beside, kinds.open, kinds.signed].sort(),
    );
    assert.match(stderr, /6 recordings are not what they were/);
    assert.match(stderr, new RegExp(`${kinds.plain}.*wrong checksum`));
    const honest = await restore(newest, await emptyDatabase());
    assert.equal(honest.code, 1);
    assert.match(honest.stderr, /were when the backup was made/);
  });

  it('whose audit is another than it was is found out', async () => {
    const forged = path.join(folder, 'forged audit');
    cpSync(good, forged, {recursive: true});
    const heads = path.join(forged, 'audit-heads');
    const lines = readFileSync(heads, 'utf8').split('\n');
    const at = lines.findIndex((line) => / [1-9][0-9]* [0-9a-f]{64}$/.test(line));
    assert.ok(at >= 0, 'the server that was backed up has entries');
    assert.match(lines.at(-2), /^# \d+ entries of \d+ clinics; 0 kept heads found; 0 damaged$/);
    lines[at] = lines[at].replace(/[0-9a-f]{64}$/, 'ab'.repeat(32));
    writeFileSync(heads, lines.join('\n'));
    forgeManifest(forged);
    const {code, stderr} = await restore(forged, await emptyDatabase());
    assert.equal(code, 1);
    assert.match(stderr, /audit_damaged.*another than when its head was kept/);
    assert.match(stderr, /the audit is not whole/);
  });

  it('takes the place of what was there when it is told to', async () => {
    const {code, stdout, stderr} = await restore(good, place, ['--replace']);
    assert.equal(code, 0, stderr);
    assert.match(stdout, /all checksums equal/);
    assert.deepEqual(parseChecksums((await verify(place.name, [], KEEPER)).stdout).byId, checksums.byId);
    const schemas = await rows(place.name, `select nspname from pg_namespace where nspname like 'penstock%'`);
    assert.deepEqual(schemas, [{nspname: 'penstock'}], 'what was there before is gone');
  });

  it('of which a recording is missing is found out', async () => {
    const copy = path.join(folder, 'one more');
    cpSync(good, copy, {recursive: true});
    const ghost = '00000000-0000-7000-8000-000000000000';
    const file = path.join(copy, 'checksums');
    writeFileSync(file, `${ghost} ${ghost} ${'ab'.repeat(32)}\n${readFileSync(file, 'utf8')}`);
    forgeManifest(copy);
    const {code, stderr} = await restore(copy, await emptyDatabase());
    assert.equal(code, 1);
    assert.match(stderr, new RegExp(`clinic ${ghost} recording ${ghost}: backup (ab){32}, restored missing`));
  });
});
