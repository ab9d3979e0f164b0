// Brakes on guessing passwords: they stop guessers and never a colleague.
import assert from 'node:assert/strict';
import http from 'node:http';
import {after, before, describe, it} from 'node:test';
import {Clinic, signIn} from './lib/clinic.mjs';
import {checkProblem} from './lib/contract.mjs';
import {Installation} from './lib/installation.mjs';

const WRONG = 'not the password at all';
const PAIR_MOST = 10;
const ACCOUNT_MOST = 100;

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('throttle');
  await installation.start({PENSTOCK_WORKERS: '8'});
  clinic = await Clinic.open(installation, 'Clinic of the guessers');
});

after(() => installation.remove());

/** Nothing counts but what a test does itself. */
const forget = () => installation.execute('delete from penstock.attempt');

/** Signs in from an address of this machine, with a cookie; a busy server is asked again. */
async function attempt(username, password, {from = '127.0.0.1', cookie} = {}) {
  for (;;) {
    const answer = await send(username, password, from, cookie);
    if (answer.status !== 503) {
      return answer;
    }
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

function send(username, password, localAddress, cookie) {
  const body = JSON.stringify({username, password});
  const headers = {'content-type': 'application/json', 'content-length': Buffer.byteLength(body)};
  if (cookie) {
    headers.cookie = cookie;
  }
  return new Promise((resolve, reject) => {
    const request = http.request(
      `${installation.url}/v1/sessions`,
      {method: 'POST', headers, localAddress, agent: false},
      (response) => {
        const chunks = [];
        response.on('data', (chunk) => chunks.push(chunk));
        response.on('end', () => {
          const text = Buffer.concat(chunks).toString();
          const answer = {
            status: response.statusCode,
            headers: new Headers(Object.entries(response.headers).map(([name, value]) => [name, String(value)])),
            cookies: response.headers['set-cookie'] ?? [],
            text,
            json: JSON.parse(text),
            path: '/v1/sessions',
          };
          if (answer.status >= 400) {
            checkProblem(answer);
          }
          resolve(answer);
        });
      },
    );
    request.on('error', reject);
    request.end(body);
  });
}

const knownBrowser = (answer) =>
  answer.cookies.find((one) => one.startsWith('penstock_known_browser='))?.split(';')[0];

const statusesOf = (answers) => answers.map(({status}) => status);

async function failures(count, username, options) {
  const answers = [];
  for (let i = 0; i < count; i++) {
    answers.push(await attempt(username, WRONG, options));
  }
  return answers;
}

describe('an attempt to sign in', () => {
  it('gives the browser a cookie by which it is known, and nothing else can be done with it', async () => {
    const user = await clinic.addUser(['clinician']);
    const answer = await attempt(user.username, user.password);
    const field = answer.cookies.find((one) => one.startsWith('penstock_known_browser='));
    for (const part of ['HttpOnly', 'SameSite=Strict', 'Path=/v1/sessions', 'Max-Age=7776000']) {
      assert.ok(field.split('; ').includes(part), field);
    }
    const cookie = knownBrowser(answer);
    const again = await attempt(user.username, user.password, {cookie});
    assert.equal(knownBrowser(again), cookie, 'the same browser stays the same');
    const invented = await attempt(user.username, user.password, {cookie: 'penstock_known_browser=mine'});
    assert.notEqual(knownBrowser(invented), 'penstock_known_browser=mine', 'none is taken that was not given');
    const refused = await fetch(`${installation.url}/v1/sessions/current`, {headers: {cookie}});
    assert.equal(refused.status, 401);
    const stored = JSON.stringify(await installation.rows('select b::text from penstock.known_browser b'));
    const secret = cookie.split('=')[1];
    assert.ok(!stored.includes(secret) && !stored.includes(Buffer.from(secret).toString('hex')));
  });

  it('is not limited as long as it is right', async () => {
    const user = await clinic.addUser(['clinician']);
    await forget();
    for (let i = 0; i < 2 * PAIR_MOST; i++) {
      assert.equal((await attempt(user.username, user.password)).status, 201);
    }
    const [{count}] = await installation.rows('select coalesce(sum(attempts), 0)::integer as count from penstock.attempt');
    assert.equal(count, 0);
  });
});

describe('a guesser', () => {
  it('is stopped after ten guesses at a name from one address, known or not', async () => {
    const user = await clinic.addUser(['clinician']);
    await forget();
    const known = await failures(PAIR_MOST + 1, user.username, {from: '127.0.0.2'});
    const unknown = await failures(PAIR_MOST + 1, 'nobody-of-that-name', {from: '127.0.0.2'});
    for (const answers of [known, unknown]) {
      assert.deepEqual(statusesOf(answers), [...Array(PAIR_MOST).fill(401), 429]);
      const wait = Number(answers.at(-1).headers.get('retry-after'));
      assert.ok(wait > 0 && wait <= 15 * 60, `${wait}`);
    }
    for (const i of known.keys()) {
      assert.equal(known[i].text, unknown[i].text);
    }
    const right = await attempt(user.username, user.password, {from: '127.0.0.2'});
    assert.equal(right.status, 429, 'also with the right one');
    assert.equal((await attempt(user.username, user.password, {from: '127.0.0.3'})).status, 201);
  });

  it('gains nothing by guessing at once', async () => {
    const user = await clinic.addUser(['clinician']);
    await forget();
    const answers = await Promise.all(
      Array.from({length: 3 * PAIR_MOST}, () => attempt(user.username, WRONG, {from: '127.0.0.4'})),
    );
    const count = (status) => answers.filter((answer) => answer.status === status).length;
    assert.equal(count(401), PAIR_MOST);
    assert.equal(count(429), 2 * PAIR_MOST);
  });

  it('gains nothing by writing the name in another way', async () => {
    const user = await clinic.addUser(['clinician'], {username: `kelvin-${process.pid}`});
    await forget();
    const spellings = [user.username, user.username.toUpperCase(), `K${user.username.slice(1)}`];
    for (let i = 0; i < PAIR_MOST; i++) {
      await attempt(spellings[i % 3], WRONG, {from: '127.0.0.5'});
    }
    for (const spelling of spellings) {
      assert.equal((await attempt(spelling, user.password, {from: '127.0.0.5'})).status, 429, spelling);
    }
    // KELVIN SIGN, which folds to k: it must not reach the account uncounted.
    const folded = await attempt(`\u212a${user.username.slice(1)}`, user.password, {from: '127.0.0.6'});
    assert.equal(folded.status, 401);
  });

  it('with many addresses is stopped by what is allowed of a name, and shuts out no known browser', async () => {
    const user = await clinic.addUser(['clinician']);
    const cookie = knownBrowser(await attempt(user.username, user.password));
    await forget();
    for (let address = 0; address < ACCOUNT_MOST / PAIR_MOST; address++) {
      const answers = await failures(PAIR_MOST, user.username, {from: `127.0.1.${address + 1}`});
      assert.deepEqual(statusesOf(answers), Array(PAIR_MOST).fill(401));
    }
    const [stopped] = await failures(1, user.username, {from: '127.0.1.200'});
    assert.equal(stopped.status, 429);
    const wait = Number(stopped.headers.get('retry-after'));
    assert.ok(wait > 15 * 60 && wait <= 60 * 60, `${wait}`);
    const colleague = await attempt(user.username, user.password, {cookie});
    assert.equal(colleague.status, 201, 'whoever has signed in here before still can');
    const others = await clinic.addUser(['clinician']);
    assert.equal((await attempt(others.username, others.password, {from: '127.0.1.200'})).status, 201);
  });

  it('at many names is stopped by what is allowed of an address, and again no known browser is', async () => {
    const user = await clinic.addUser(['clinician']);
    const cookie = knownBrowser(await attempt(user.username, user.password, {from: '127.0.2.1'}));
    await forget();
    for (let i = 0; i < ACCOUNT_MOST; i++) {
      const {status} = await attempt(`invented-${i}`, WRONG, {from: '127.0.2.1'});
      assert.equal(status, 401);
    }
    assert.equal((await attempt('one-more', WRONG, {from: '127.0.2.1'})).status, 429);
    assert.equal((await attempt(user.username, user.password, {from: '127.0.2.1'})).status, 429);
    assert.equal((await attempt(user.username, user.password, {from: '127.0.2.1', cookie})).status, 201);
  });

  it('who is refused uses up nothing of what others have', async () => {
    const user = await clinic.addUser(['clinician']);
    await forget();
    await failures(PAIR_MOST + ACCOUNT_MOST, user.username, {from: '127.0.3.1'});
    assert.equal((await attempt(user.username, user.password, {from: '127.0.3.2'})).status, 201);
  });
});

describe('a known browser', () => {
  it('waits after ten failures in a row of its own, and a success forgives them', async () => {
    const user = await clinic.addUser(['clinician']);
    const cookie = knownBrowser(await attempt(user.username, user.password));
    await forget();
    assert.deepEqual(statusesOf(await failures(9, user.username, {cookie})), Array(9).fill(401));
    assert.equal((await attempt(user.username, user.password, {cookie})).status, 201);
    assert.deepEqual(statusesOf(await failures(10, user.username, {cookie})), Array(10).fill(401));
    const refused = await attempt(user.username, user.password, {cookie});
    assert.equal(refused.status, 429);
    const wait = Number(refused.headers.get('retry-after'));
    assert.ok(wait > 0 && wait <= 15 * 60, `${wait}`);
    const {answer} = await signIn(installation.url, user.username, user.password);
    assert.equal(answer.status, 201, 'another browser is not concerned');
  });

  it('is known to the accounts only that signed in from it', async () => {
    const [one, two] = [await clinic.addUser(['clinician']), await clinic.addUser(['clinician'])];
    const cookie = knownBrowser(await attempt(one.username, one.password));
    await forget();
    await failures(PAIR_MOST, two.username, {cookie, from: '127.0.4.1'});
    assert.equal((await attempt(two.username, two.password, {cookie, from: '127.0.4.1'})).status, 429);
    assert.equal((await attempt(one.username, one.password, {cookie, from: '127.0.4.1'})).status, 201);
  });
});
