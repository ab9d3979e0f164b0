// Every route with every caller: each role as a person and as a program, whoever has no valid credential,
// and each role of another clinic. What each may do is taken from what openapi.json says in words, not
// from the table that the server asks; the two are compared in routes.test.mjs.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, ROLES, signIn} from './lib/clinic.mjs';
import {operations} from './lib/contract.mjs';
import {Installation} from './lib/installation.mjs';
import {filled, recipeOf} from './lib/recipes.mjs';
import {forged as forgedSecret} from './lib/secrets.mjs';

let installation;
let clinic;
let neighbour;
/** By what is wrong with it, clients of every role whose credential is no good any more. */
let spent;
let cells = 0;

const closed = operations.filter(({isPublic}) => !isPublic);

async function session(account) {
  const {cookie} = await signIn(installation.url, account.username, account.password);
  return Client.withSession(installation.url, cookie);
}

async function token(role, end) {
  const made = await clinic.makeToken([role]);
  await end(made.id);
  return Client.withToken(installation.url, made.token);
}

const SPENT = {
  'a revoked token': (role) => token(role, (id) => clinic.administrator.expect(204, 'DELETE', `/v1/tokens/${id}`)),
  'an expired token': (role) =>
    token(role, (id) =>
      installation.execute(`update penstock.api_token set expires_at = now() - interval '1 s' where id = '${id}'`),
    ),
  'a session that was signed out': async (role) => {
    const client = await session(await clinic.addUser([role]));
    await client.expect(204, 'DELETE', '/v1/sessions/current');
    return client;
  },
  'a session that has expired': async (role) => {
    const user = await clinic.addUser([role]);
    const client = await session(user);
    await installation.execute(
      `update penstock.session set expires_at = now() - interval '1 s' where account_id = '${user.id}'`,
    );
    return client;
  },
  'a session left idle': async (role) => {
    const user = await clinic.addUser([role]);
    const client = await session(user);
    await installation.execute(
      `update penstock.session set last_used_at = now() - interval '31 min' where account_id = '${user.id}'`,
    );
    return client;
  },
  'a session of an account that is no longer active': async (role) => {
    const user = await clinic.addUser([role]);
    const client = await session(user);
    await clinic.administrator.patch(`/v1/users/${user.id}`, {active: false}, user.etag);
    return client;
  },
};

/** With the same length and alphabet as a real one. */
function forged() {
  const real = clinic.tokens.administrator;
  const swap = (text, at) => text.slice(0, at) + (text[at] === 'A' ? 'B' : 'A') + text.slice(at + 1);
  const cookie = `penstock_session=${'A'.repeat(43)}`;
  return {
    'no credential': new Client(installation.url),
    'a token that was never given': Client.withToken(installation.url, forgedSecret('pst_')),
    'a token with another character': Client.withToken(installation.url, swap(real, 20)),
    'a token cut short': Client.withToken(installation.url, real.slice(0, -1)),
    'a forged session': Client.withSession(installation.url, cookie),
    'a token as a session': Client.withSession(installation.url, `penstock_session=${real}`),
  };
}

before(async () => {
  installation = await Installation.create('matrix');
  await installation.start({PENSTOCK_KEY_FILE: installation.makeKey()});
  clinic = await Clinic.open(installation, 'Clinic of the matrix');
  neighbour = await Clinic.open(installation, 'Clinic next door');
  for (const role of ROLES) {
    await clinic.person(role);
    await neighbour.person(role);
  }
  spent = forged();
  for (const [what, make] of Object.entries(SPENT)) {
    for (const role of ROLES) {
      spent[`${what}, ${role}`] = await make(role);
    }
  }
});

after(async () => {
  console.log(`${cells} cells of the matrix asserted, of ${closed.length} routes`);
  await installation.remove();
});

async function cell(client, status, method, path, recipe, who) {
  const answer = await client.request(method, filled(path, recipe), recipe);
  assert.equal(answer.status, status, `${who}: ${answer.what}: ${answer.text.slice(0, 500)}`);
  cells++;
  return answer;
}

/** What belongs to one's own session must not be ended for those who come after. */
const callerOf = async (role, path) =>
  path.startsWith('/v1/sessions') ? session(await clinic.addUser([role])) : clinic.person(role);

describe('each route', () => {
  for (const {method, path, roles} of closed) {
    const key = `${method} ${path}`;
    const allowed = roles[0] === 'any' ? ROLES : roles;

    describe(key, () => {
      it(`serves ${allowed.join(', ')}`, async () => {
        assert.ok(allowed.length > 0 && allowed.every((role) => ROLES.includes(role)), 'openapi.json names the roles');
        for (const role of allowed) {
          const asProgram = await recipeOf(clinic, key, role);
          await cell(clinic.as(role), asProgram.tokenStatus, method, path, asProgram, `a program, ${role}`);
          const person = await callerOf(role, path);
          const {client = person, ...asPerson} = await recipeOf(clinic, key, role, person);
          await cell(client, asPerson.status, method, path, asPerson, `a person, ${role}`);
        }
      });

      it('refuses every other role, and changes nothing', async () => {
        const recipe = await recipeOf(clinic, key);
        await installation.unchanged(async () => {
          for (const role of ROLES.filter((one) => !allowed.includes(one))) {
            await cell(clinic.as(role), 403, method, path, recipe, `a program, ${role}`);
            await cell(await clinic.person(role), 403, method, path, recipe, `a person, ${role}`);
          }
        });
      });

      it('refuses whoever has no valid credential, and changes nothing', async () => {
        const recipe = await recipeOf(clinic, key);
        await installation.unchanged(async () => {
          for (const [who, client] of Object.entries(spent)) {
            await cell(client, 401, method, path, recipe, who);
          }
        });
      });

      // A name that is given by whoever makes a thing may be given next door as well: letters.test.mjs.
      if (path.includes('{') && key !== 'PUT /v1/letter-templates/{name}/{language}') {
        it('has nothing for another clinic, whatever the role', async () => {
          const recipe = await recipeOf(clinic, key);
          await installation.unchanged(async () => {
            for (const role of ROLES) {
              const status = allowed.includes(role) ? 404 : 403;
              // A program has no session and is no person, whoever's the one is that it names.
              const ofProgram = recipe.tokenStatus === recipe.status ? status : recipe.tokenStatus;
              await cell(neighbour.as(role), ofProgram, method, path, recipe, `next door's program, ${role}`);
              await cell(await neighbour.person(role), status, method, path, recipe, `next door's person, ${role}`);
            }
          });
        });
      } else if (method === 'GET') {
        it('shows another clinic nothing of this one', async () => {
          const recipe = await recipeOf(clinic, key);
          const ours = [clinic.id, ...(await everyId())];
          for (const role of allowed) {
            const {json} = await cell(await neighbour.person(role), recipe.status, method, path, recipe, role);
            // The audit repeats which objects were asked for above, in vain.
            const shown = JSON.stringify(json, (name, value) => (name === 'object' ? undefined : value));
            assert.deepEqual(ours.filter((id) => shown.includes(id)), [], `${key} as ${role} of another clinic`);
          }
        });
      }
    });
  }
});

/** Ids of this clinic's patients, studies, recordings, accounts and tokens. */
async function everyId() {
  const tables = ['patient', 'study', 'recording', 'account', 'api_token'];
  const found = await installation.rows(
    tables.map((table) => `select id from penstock.${table} where clinic_id = '${clinic.id}'`).join(' union all '),
  );
  assert.ok(found.length > ROLES.length);
  return found.map(({id}) => id);
}
