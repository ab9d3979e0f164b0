// What the program's settings and commands do, as far as it can be seen from outside.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {randomBytes} from 'node:crypto';
import {chmodSync, readFileSync, writeFileSync} from 'node:fs';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, PASSWORD, signIn} from './lib/clinic.mjs';
import {document} from './lib/contract.mjs';
import {serverProgram} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('settings');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the settings');
});

after(() => installation.remove());

async function restart(settings) {
  await installation.stop();
  await installation.start(settings);
}

describe('a server with few places', () => {
  it('sends away what it cannot take, at once, and takes it later', async () => {
    await restart({PENSTOCK_WORKERS: '2', PENSTOCK_QUEUE: '1'});
    const {document: recording} = uroflowmetry({grid: {rate_hz: 100, duration_s: 300}});
    const body = JSON.stringify(recording);
    const send = () =>
      clinic.room.request('POST', '/v1/analyses', {body, headers: {'content-type': 'application/json'}});
    const answers = await Promise.all(Array.from({length: 40}, send));
    const count = (status) => answers.filter((answer) => answer.status === status).length;
    assert.equal(count(200) + count(503), 40);
    assert.ok(count(200) >= 1, 'some are served');
    assert.ok(count(503) >= 1, 'some are sent away');
    await new Client(installation.url).get('/healthz');
    assert.equal((await send()).status, 200);
  });
});

describe('the cookie', () => {
  it('is for TLS alone when the setting says so', async () => {
    await restart({PENSTOCK_SECURE_COOKIES: 'yes'});
    const {answer} = await signIn(installation.url, clinic.username, PASSWORD);
    assert.match(answer.headers.get('set-cookie'), /; Secure(;|$)/);
  });
});

/** Runs the program with a setting; its exit code and what it says. */
function attempt(options, settings = {}, input = '') {
  return new Promise((resolve) => {
    const child = execFile(
      serverProgram(),
      options,
      {env: installation.environment(settings), timeout: 30_000},
      (error, stdout, stderr) => resolve({code: error === null ? 0 : error.code, stdout, stderr}),
    );
    child.stdin.on('error', () => {}); // it may end without reading
    child.stdin.end(input);
  });
}

describe('the program', () => {
  it('refuses settings that make no sense, by name', async () => {
    for (const [name, value] of [
      ['PENSTOCK_PORT', '70000'],
      ['PENSTOCK_PORT', 'http'],
      ['PENSTOCK_WORKERS', '0'],
      ['PENSTOCK_QUEUE', '-1'],
      ['PENSTOCK_LOG_LEVEL', 'loud'],
      ['PENSTOCK_SECURE_COOKIES', 'perhaps'],
      ['PENSTOCK_ADDRESS', 'everywhere'],
      ['PENSTOCK_TRUSTED_PROXIES', 'proxy.example'],
      ['PENSTOCK_TLS_CERTIFICATE', '/nowhere'],
      ['PENSTOCK_TLS_KEY', '/nowhere'],
      ['PENSTOCK_TLS_CLIENT_CA', '/nowhere'],
    ]) {
      const {code, stderr} = await attempt(['serve'], {[name]: value});
      assert.ok([1, 2].includes(code), `${name}=${value}: ${code}`);
      assert.ok(stderr.includes(name === 'PENSTOCK_ADDRESS' ? value : name), stderr);
    }
  });

  it('takes any setting from a file, as it would from the environment', async () => {
    const file = path.join(installation.folder, 'value');
    const {PENSTOCK_DATABASE: database} = installation.environment();
    const start = async (settings) => {
      await installation.stop();
      await installation.start(settings);
      await clinic.room.get('/v1/patients?limit=1');
    };
    for (const text of [database, `${database}\n`]) {
      writeFileSync(file, text);
      await start({PENSTOCK_DATABASE: '', PENSTOCK_DATABASE_FILE: file, PENSTOCK_QUEUE_FILE: ''});
    }
    assert.ok(!readFileSync(`/proc/${installation.process.pid}/cmdline`, 'utf8').includes('dbname'));
    assert.ok(!readFileSync(`/proc/${installation.process.pid}/environ`, 'utf8').includes('user=penstock_app'));
    writeFileSync(file, '70000');
    const {stderr} = await attempt(['serve'], {PENSTOCK_PORT: undefined, PENSTOCK_PORT_FILE: file});
    assert.ok(stderr.includes('PENSTOCK_PORT must be'), stderr);
  });

  it('refuses a file that is no value, by the name of its variable, without its content', async () => {
    const secret = path.join(installation.folder, 'secret');
    writeFileSync(secret, 'otter\notter\n');
    const nul = path.join(installation.folder, 'nul');
    writeFileSync(nul, 'ot\0ter');
    for (const [settings, part] of [
      [{PENSTOCK_DATABASE: 'dbname=x', PENSTOCK_DATABASE_FILE: secret}, 'are both given'],
      [{PENSTOCK_DATABASE: '', PENSTOCK_DATABASE_FILE: secret}, 'PENSTOCK_DATABASE_FILE'],
      [{PENSTOCK_DATABASE: '', PENSTOCK_DATABASE_FILE: nul}, 'PENSTOCK_DATABASE_FILE'],
      [{PENSTOCK_DATABASE: '', PENSTOCK_DATABASE_FILE: installation.folder}, 'PENSTOCK_DATABASE_FILE'],
      [{PENSTOCK_DATABASE: '', PENSTOCK_DATABASE_FILE: '/nowhere'}, 'PENSTOCK_DATABASE_FILE'],
      [{PENSTOCK_TLS_KEY_FILE: secret}, 'PENSTOCK_TLS_KEY_FILE'],
      [{PENSTOCK_DATABSE_FILE: secret}, 'PENSTOCK_DATABSE_FILE belongs to no setting'],
    ]) {
      const {code, stderr} = await attempt(['serve'], settings);
      assert.equal(code, 2, stderr);
      assert.ok(stderr.includes(part), stderr);
      assert.ok(!stderr.includes('otter'), stderr);
    }
  });

  it('says its version, which is that of the document', async () => {
    const {stdout} = await attempt(['version']);
    assert.ok(stdout.includes(document.info.version), stdout);
  });

  it('refuses commands that it does not know', async () => {
    for (const options of [[], ['sing'], ['clinic'], ['clinic', 'remove', 'x'], ['administrator', 'first', clinic.id]]) {
      const {code, stdout} = await attempt(options);
      assert.notEqual(code, 0, options.join(' '));
      assert.equal(stdout.includes('listening'), false);
    }
  });

  it('makes no administrator that could not be used, or used too easily', async () => {
    const fresh = await installation.addClinic('Clinic without an administrator');
    await installation.unchanged(async () => {
      for (const [id, username, password] of [
        [fresh, 'someone', 'short'],
        [fresh, 'someone', ''],
        [fresh, 'someone', 'someone-someone-2026'],
        [fresh, 'Some One', PASSWORD],
        [fresh, clinic.username, PASSWORD],
        ['no-clinic', 'someone', PASSWORD],
        ['0195f1c0-0000-7000-8000-000000000002', 'someone', PASSWORD],
      ]) {
        const {code, stdout} = await attempt(['administrator', 'first', id, username], {}, `${password}\n`);
        assert.equal(code, 1, `${id} ${username} ${password}`);
        assert.equal(stdout, '');
      }
    });
  });

  it('makes one first administrator, however many ask at once', async () => {
    const fresh = await installation.addClinic('Clinic of many at once');
    const asked = ['one', 'two', 'three', 'four'].map((name) =>
      attempt(['administrator', 'first', fresh, `first-${name}`], {}, `${PASSWORD}\n`),
    );
    const codes = (await Promise.all(asked)).map(({code}) => code);
    assert.deepEqual(codes.sort(), [0, 1, 1, 1]);
    const {code, stderr} = await attempt(['administrator', 'first', fresh, 'late'], {}, `${PASSWORD}\n`);
    assert.equal(code, 1);
    assert.match(stderr, /active administrator/);
  });

  it('lets a locked-out administrator in again, and nobody else', async () => {
    const fresh = await installation.addClinic('Clinic of a lost password');
    await installation.addAdministrator(fresh, 'forgetful', PASSWORD);
    const {cookie} = await signIn(installation.url, 'forgetful', PASSWORD);
    const other = 'nine tall poplars';
    const {code} = await attempt(['administrator', 'recover', fresh, 'forgetful'], {}, `${other}\n`);
    assert.equal(code, 0);
    await Client.withSession(installation.url, cookie).expect(401, 'GET', '/v1/sessions/current');
    await signIn(installation.url, 'forgetful', other);
    const admin = await signIn(installation.url, clinic.username, PASSWORD);
    const administrator = Client.withSession(installation.url, admin.cookie); // the port is another
    const {json: clinician} = await administrator.post('/v1/users', {
      username: 'no-administrator',
      display_name: 'No administrator',
      password: PASSWORD,
      roles: ['clinician'],
    });
    await installation.unchanged(async () => {
      for (const [id, username] of [
        [fresh, 'nobody'],
        [clinic.id, 'forgetful'],
        [clinic.id, clinician.username],
      ]) {
        const refused = await attempt(['administrator', 'recover', id, username], {}, `${other}\n`);
        assert.equal(refused.code, 1, username);
      }
    });
  });

  it('does not start with a key file that is no key, or that others may read', async () => {
    const file = path.join(installation.folder, 'key');
    for (const [text, mode] of [
      ['too short', 0o600],
      [randomBytes(32).toString('base64'), 0o644],
    ]) {
      writeFileSync(file, text);
      chmodSync(file, mode);
      const {code, stdout, stderr} = await attempt(['serve'], {PENSTOCK_KEY_FILE: file});
      assert.equal(code, 1);
      assert.equal(stdout.includes('listening'), false);
      assert.match(stderr, /PENSTOCK_KEY_FILE/);
      assert.ok(!stderr.includes(text));
    }
  });

  it('migrates what is migrated already without a change', () =>
    installation.unchanged(async () => {
      const {code, stdout} = await attempt(['migrate']);
      assert.equal(code, 0);
      assert.match(stdout, /\(0 applied\)/);
    }));
});
