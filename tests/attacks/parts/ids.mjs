// Ids of what is not the attacker's: of another clinic, out of a role's reach, of another kind, invented or
// written in another way. It works when the answer is not the one that an invented id gets, when it gives
// away anything of the other clinic, or when something changes.
import {randomUUID} from 'node:crypto';
import {Client} from '../../api/lib/client.mjs';
import {Clinic} from '../../api/lib/clinic.mjs';
import {placesOf, pointerOf, takesText, valueAt, withValue} from '../lib/schema.mjs';
import {each} from '../lib/tally.mjs';

export const kind = 'ids of others';

const SUFFIXES = ['x', ' ', '%', "'", '.json', '/', '/..', ';', ',', '\u00a0', '?', '#', '*', '|'];

/** The same answer apart from what names the request. */
const telling = ({status, json, headers}) =>
  JSON.stringify([status, {...json, instance: ''}, [...headers.keys()].filter((name) => name !== 'date').sort()]);

const kindOf = ({path}) => path.split('/')[2];

const isId = ({path, schema}) => schema.format === 'uuid' || path.at(-1) === 'id' || /_id$/.test(path.at(-1));

/** Words that stand in answers about the other clinic only. */
async function secretsOf(world, prepared) {
  const ids = prepared.flatMap(({recipe}) => [recipe.id, ...Object.values(recipe.parameters ?? {})]);
  const [row] = await world.installation.rows(`
    select json_agg(mrn) as mrns, json_agg(id) as ids from penstock.patient where clinic_id = '${world.other.id}'`);
  return [world.other.id, world.other.name, world.other.username, ...row.mrns, ...row.ids, ...ids].filter(Boolean).filter((one) => one.length > 5);
}

/** What can be put where: other people's, other kinds', and other spellings. */
function candidates(operation, {recipe: own}, {recipe: others}, byKind, name) {
  const mine = own.parameters?.[name] ?? own.id;
  const theirs = others.parameters?.[name] ?? others.id;
  // A number, and names that each clinic gives by itself, are nobody's ids.
  if (mine === undefined || ['n', 'name', 'language'].includes(name)) {
    return [];
  }
  const otherKinds = Object.entries(byKind).filter(([one]) => one !== kindOf(operation));
  // Whoever has a link's secret may read what it leads to, which is what it is for.
  const foreign = operation.isPublic ? [] : [{what: 'of another clinic', id: theirs, isTelling: true}];
  return [
    ...foreign,
    {what: 'of another clinic in capitals', id: theirs.toUpperCase()},
    {what: 'of none', id: '00000000-0000-0000-0000-000000000000'},
    {what: 'of all', id: 'ffffffff-ffff-ffff-ffff-ffffffffffff'},
    {what: 'without hyphens', id: mine.replaceAll('-', '')},
    {what: 'in braces', id: `{${mine}}`},
    {what: 'as urn', id: `urn:uuid:${mine}`},
    ...SUFFIXES.map((suffix) => ({what: `with ${JSON.stringify(suffix)}`, id: mine + suffix})),
    ...otherKinds.map(([one, id]) => ({what: `of ${one}`, id})),
  ].filter(({id}) => id !== mine);
}

const secretIn = (answer, secrets) => secrets.find((secret) => answer.text.toLowerCase().includes(secret.toLowerCase()));

/** Undefined when an answer refuses without a word about the other clinic; instance repeats the request. */
function isRefused(answer, secrets) {
  const text = answer.json === undefined ? answer.text : JSON.stringify({...answer.json, instance: ''});
  const secret = secretIn({text}, secrets);
  if (secret !== undefined) {
    return `the answer names ${secret}`;
  }
  const isEmpty = answer.status === 200 && answer.json?.items?.length === 0;
  return isEmpty || (answer.status >= 400 && answer.status < 500) ? undefined : `${answer.status} ${answer.text.slice(0, 200)}`;
}

async function inPaths(world, tally, {operation, request, foreign}, byKind, secrets) {
  const client = world.allowed(operation);
  for (const name of operation.pathNames) {
    const ask = (id) => world.send(client, operation, request, {target: world.targetWith(operation, request, name, id)});
    const invented = await ask(randomUUID());
    for (const {what, id, isTelling} of candidates(operation, request, foreign, byKind, name)) {
      await tally.attempt(`${operation.key} {${name}} ${what}`, async () => {
        const answer = await ask(id);
        if (isTelling && telling(answer) !== telling(invented)) {
          return `${telling(answer)} and not ${telling(invented)}`;
        }
        return isRefused(answer, secrets);
      });
    }
  }
}

/** Ids in bodies and in queries: of the other clinic, and invented. */
async function elsewhere(world, tally, {operation, request}, foreignIds, secrets) {
  const client = world.allowed(operation);
  const places = placesOf(operation.schema ?? {}).filter((place) => takesText(place) && isId(place) && place.path.length === 1);
  for (const {path} of places.filter((place) => valueAt(request.json, place.path) !== undefined)) {
    const ask = (id) => world.send(client, operation, request, {json: withValue(request.json, operation.schema, path, id)});
    const invented = await ask(randomUUID());
    for (const [what, id] of Object.entries(foreignIds)) {
      await tally.attempt(`${operation.key} ${pointerOf(path)} of another clinic's ${what}`, async () => {
        const answer = await ask(id);
        return telling(answer) === telling(invented) ? isRefused(answer, secrets) : `${telling(answer)} and not ${telling(invented)}`;
      });
    }
  }
  for (const name of operation.isSafe ? operation.queryNames.filter((one) => /(^|_)id$/.test(one)) : []) {
    for (const [what, id] of Object.entries(foreignIds)) {
      await tally.attempt(`${operation.key} ?${name}= another clinic's ${what}`, async () => {
        const answer = await world.send(client, operation, request, {target: `${request.target}?${name}=${id}`});
        if (answer.status === 200 && answer.json.items?.length !== 0) {
          return `${answer.text.slice(0, 200)}`;
        }
        return secretIn({text: answer.text.replaceAll(id, '')}, secrets) && 'the answer holds something of the other clinic';
      });
    }
  }
}

/** Lists hold nothing of others, also where one begins at a place in the other clinic's list. */
async function inLists(world, tally, {operation, request, foreign}, secrets) {
  const client = world.allowed(operation);
  const look = async (target) => {
    const answer = await client.request('GET', target);
    const secret = answer.status < 400 ? secretIn(answer, secrets) : undefined;
    return secret === undefined ? undefined : `${target} names ${secret}`;
  };
  await tally.attempt(`${operation.key} as it is`, () => look(request.target));
  if (operation.queryNames.includes('cursor')) {
    const theirs = await world.allowed(operation, world.other).request('GET', `${foreign.target}?limit=1`);
    const cursor = theirs.json?.next_cursor;
    if (cursor) {
      for (const limit of [1, 200]) {
        await tally.attempt(`${operation.key} with another clinic's cursor`, () =>
          look(`${request.target}?limit=${limit}&cursor=${encodeURIComponent(cursor)}`),
        );
      }
    }
  }
}

/** A clinic of which everything was made by a clinician, so that a room has no claim to any of it. */
const madeByClinician = (clinic) => Object.create(clinic, {room: {get: () => clinic.as('clinician')}});

/** What is beyond a role within its own clinic is as absent as what was never there. */
async function beyondReach(world, tally, signed, clients, secrets) {
  for (const {operation, request} of signed) {
    for (const [who, client] of Object.entries(clients)) {
      const role = who.split(' ')[0];
      if (!operation.roles.includes(role)) {
        continue;
      }
      for (const name of operation.pathNames.filter((one) => one !== 'n')) {
        await tally.attempt(`${operation.key} by a ${who}`, async () => {
          const ask = (id) => world.send(client, operation, request, {target: world.targetWith(operation, request, name, id)});
          const [answer, invented] = [await ask(request.recipe.parameters?.[name] ?? request.id), await ask(randomUUID())];
          return telling(answer) === telling(invented) ? isRefused(answer, secrets) : `${telling(answer)} and not ${telling(invented)}`;
        });
      }
      for (const target of operation.isSafe && operation.pathNames.length === 0 ? [request.target] : []) {
        await tally.attempt(`${operation.key} by a ${who}, as a list`, async () => {
          const ids = signed.map((one) => one.request.id).filter(Boolean);
          const secret = secretIn(await client.request('GET', target), ids);
          return secret && `${target} names ${secret}`;
        });
      }
    }
  }
}

const CLINICAL = ['patients', 'studies', 'recordings'];

/** Signed studies for a room; of a referrer, studies of patients referred but not signed, and signed of
 * patients who are not. */
async function withinTheClinic(world, tally) {
  const clinic = await Clinic.open(world.installation, 'Clinic of three rooms');
  const hidden = madeByClinician(clinic);
  const wanted = world.operations.filter((operation) => CLINICAL.includes(kindOf(operation)));
  const make = async () => {
    const made = [];
    for (const operation of wanted) {
      made.push({operation, request: await world.prepare(operation, hidden)});
    }
    return made;
  };
  const signed = await make();
  await clinic.signAnyway(`s.clinic_id = '${clinic.id}' and s.status not in ('final', 'amended', 'cancelled')`);
  const open = await make();
  const {user, cookie} = await world.session('referrer', clinic);
  const referrer = Client.withSession(world.url, cookie);
  const theirs = await clinic.as('clinician').post('/v1/patients', {mrn: 'R-1', family_name: 'Referred', given_name: 'A', birth_date: '1950-01-01', sex: 'female'});
  await world.installation.execute(`
    insert into penstock.referral (clinic_id, patient_id, referrer_id)
    select clinic_id, id, '${user.id}' from penstock.patient
     where clinic_id = '${clinic.id}' and id in (select patient_id from penstock.study where status <> 'final' union select '${theirs.json.id}')`);
  await checkReferral(world, clinic, theirs.json.id, referrer);
  const secrets = [];
  await world.unchanged(tally, async () => {
    await beyondReach(world, tally, signed, {'room, signed': clinic.room, 'referrer, not referred': referrer}, secrets);
    await beyondReach(world, tally, open, {'referrer, not signed': referrer}, secrets);
  });
}

/** The referrer does read what was referred and signed, or the refusals above would say nothing. */
async function checkReferral(world, clinic, patientId, referrer) {
  const {json: study} = await clinic.as('clinician').post('/v1/studies', {patient_id: patientId, room: 'R', started_at: '2026-03-02T09:00:00Z'});
  await clinic.sign(study.id);
  await referrer.get(`/v1/studies/${study.id}/summary`);
}

export async function attack(world, tally) {
  const prepared = [];
  for (const operation of world.operations) {
    prepared.push({
      operation,
      request: await world.prepare(operation),
      foreign: await world.prepare(operation, world.other),
    });
  }
  const secrets = await secretsOf(world, prepared.map(({foreign}) => foreign));
  const byKind = Object.fromEntries(prepared.filter(({request}) => request.id).map(({operation, request}) => [kindOf(operation), request.id]));
  const foreignIds = Object.fromEntries(prepared.filter(({foreign}) => foreign.id).map(({operation, foreign}) => [kindOf(operation), foreign.id]));
  await world.unchanged(tally, async () => {
    // Lists first: the audit also tells which ids of others were asked for.
    await each(
      prepared.filter(({operation}) => operation.isSafe),
      (one) => inLists(world, tally, one, secrets),
    );
    await each(prepared, async (one) => {
      await inPaths(world, tally, one, byKind, secrets);
      await elsewhere(world, tally, one, foreignIds, secrets);
    });
  });
  await withinTheClinic(world, tally);
}
