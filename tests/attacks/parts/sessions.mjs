// Cookies that an attacker has planted, doubled or bent. It works when such a value becomes a session, when
// signing in takes one over or leaves it its rights, or when it decides who somebody is.
import {randomBytes} from 'node:crypto';
import {Client} from '../../api/lib/client.mjs';
import {ask, fieldsOf} from '../lib/wire.mjs';

export const kind = 'session fixation';

const NAME = 'penstock_session';

const invented = () => randomBytes(32).toString('base64url');

/** The value of the cookie that an answer sets. */
const given = (answer) => answer.headers.get('set-cookie')?.match(new RegExp(`^${NAME}=([^;]*)`))?.[1];

async function who(world, cookies) {
  const fields = cookies.map((value) => ['cookie', value]);
  const answer = await ask(world.url, {method: 'GET', target: '/v1/sessions/current', fields});
  return answer.status === 200 ? JSON.parse(answer.text).user.username : undefined;
}

/** Cookies that are there before somebody signs in. */
function planted(victim, attacker) {
  const value = invented();
  return {
    'an invented value': [[`${NAME}=${value}`], value],
    'an empty value': [[`${NAME}=`], ''],
    "the attacker's own session": [[`${NAME}=${attacker}`], attacker],
    "the victim's last session": [[`${NAME}=${victim}`], victim],
    'a value given twice': [[`${NAME}=${value}; ${NAME}=${value}`], value],
    'two fields': [[`${NAME}=${value}`, `${NAME}=${attacker}`], value],
    'a quoted value': [[`${NAME}="${value}"`], value],
    'a prefixed name': [[`__Host-${NAME}=${value}`], value],
    'another prefix': [[`__Secure-${NAME}=${value}`], value],
    'a value with attributes': [[`${NAME}=${value}; Path=/; Domain=evil.example`], value],
  };
}

async function signIn(world, user, cookies) {
  const headers = {'content-type': 'application/json', origin: world.url};
  const answer = await ask(world.url, {
    method: 'POST',
    target: '/v1/sessions',
    fields: [...fieldsOf(headers), ...cookies.map((one) => ['cookie', one])],
    body: JSON.stringify({username: user.username, password: user.password}),
  });
  return {status: answer.status, headers: new Headers(answer.fields)};
}

async function taken(world, tally, victim, attacker) {
  const seen = new Set();
  const before = given(await signIn(world, victim, []));
  for (const [what, [cookies, value]] of Object.entries(planted(before, attacker.secret))) {
    await tally.attempt(`signing in with ${what}`, async () => {
      const own = value === attacker.secret || value === before;
      const answer = await signIn(world, victim, cookies);
      const secret = given(answer);
      if (answer.status !== 201 || !secret || secret === value || seen.has(secret)) {
        return `${answer.status}, the session is ${secret === value ? 'the planted one' : 'no new one'}`;
      }
      seen.add(secret);
      if ((await who(world, [`${NAME}=${secret}`])) !== victim.username) {
        return 'the new session is not of who signed in';
      }
      const old = await who(world, [`${NAME}=${value}`]);
      return old !== undefined && !(own && value === attacker.secret && old === attacker.username) && !(own && value === before && old === victim.username)
        ? `the planted value is ${old}`
        : undefined;
    });
  }
}

/** Ways of writing a session's cookie that only a lenient reader takes for it. */
function bent(secret) {
  return {
    'name in capitals': `${NAME.toUpperCase()}=${secret}`,
    'name with a prefix': `__Host-${NAME}=${secret}`,
    'name with a space': `${NAME} =${secret}`,
    'quoted': `${NAME}="${secret}"`,
    'escaped': `${NAME}=%${secret.charCodeAt(0).toString(16)}${secret.slice(1)}`,
    'escaped name': `penstock%5Fsession=${secret}`,
    'within another': `other="; ${NAME}=${secret}`.replace('; ', ', '),
    'cut off': `${NAME}=${secret.slice(0, -1)}`,
    'longer': `${NAME}=${secret}A`,
    'with a comma': `${NAME}=${secret},`,
    'other case': `${NAME}=${secret.toLowerCase() === secret ? secret.toUpperCase() : secret.toLowerCase()}`,
    'with padding': `${NAME}=${secret}=`,
    'behind $Version': `$Version=1, ${NAME}=${secret}`,
  };
}

export async function attack(world, tally) {
  const {user: victim, cookie: victims} = await world.session('clinician');
  const {user: attacking, cookie: attackers} = await world.session('room');
  const [secret, other] = [victims, attackers].map((cookie) => cookie.split('=')[1]);
  await taken(world, tally, victim, {username: attacking.username, secret: other});

  for (const [what, cookie] of Object.entries(bent(secret))) {
    await tally.attempt(`a session's cookie, ${what}`, async () => {
      const name = await who(world, [cookie]);
      return name && `it is ${name}`;
    });
  }

  // Two sessions at a time: whichever counts, the answer is of one of them and has that one's rights only.
  for (const cookies of [[`${NAME}=${other}; ${NAME}=${secret}`], [`${NAME}=${other}`, `${NAME}=${secret}`]]) {
    await tally.attempt(`two sessions: ${cookies.length} fields`, async () => {
      const name = await who(world, cookies);
      const fields = cookies.map((value) => ['cookie', value]);
      const answer = await ask(world.url, {method: 'GET', target: '/v1/users', fields});
      return (name !== undefined && name !== attacking.username) || answer.status < 400
        ? `it is ${name}, users: ${answer.status}`
        : undefined;
    });
  }

  // A session that was ended stays ended, also for who kept its cookie.
  await tally.attempt('a session after signing out', async () => {
    const answer = await signIn(world, victim, []);
    const mine = given(answer);
    await Client.withSession(world.url, `${NAME}=${mine}`).expect(204, 'DELETE', '/v1/sessions/current');
    return (await who(world, [`${NAME}=${mine}`])) && 'it is still signed in';
  });

  // In places where a credential is not looked for.
  for (const target of [`?${NAME}=${secret}`, `?access_token=${world.own.tokens.clinician}`, `;${NAME}=${secret}`]) {
    await tally.attempt(`a credential in the address: ${target.slice(0, 15)}`, async () => {
      const answer = await ask(world.url, {method: 'GET', target: `/v1/sessions/current${target}`});
      return answer.status < 400 ? `${answer.status}` : undefined;
    });
  }
}
