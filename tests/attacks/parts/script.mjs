// Script in every text that is stored, and in what an answer repeats. It works when an answer is taken for
// something else than it says it is, or when the text is anything but text in an HTML answer.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {patientDocument, studyDocument} from '../../api/lib/clinic.mjs';
import {uroflowmetry} from '../../api/lib/recordings.mjs';
import {markAsMarkup, skeletonOf} from '../lib/markup.mjs';
import {MARK, OVERLONG, SCRIPTS} from '../lib/payloads.mjs';
import {placesOf, pointerOf, takesText, withValue} from '../lib/schema.mjs';
import {Deck, each} from '../lib/tally.mjs';
import {ask, fieldsOf} from '../lib/wire.mjs';

export const kind = 'script, stored and reflected';

const HARMLESS = 'harmless words';

const isHtml = (type) => /^text\/html\b/.test(type ?? '');

/** What a browser could take an answer for; undefined when it is what it says and holds no markup of ours. */
function isTakenForScript({headers, text, status}, produces) {
  const type = headers.get('content-type');
  if (headers.get('x-content-type-options') !== 'nosniff') {
    return 'its type may be guessed';
  }
  if (!/default-src 'none'|default-src 'self'/.test(headers.get('content-security-policy') ?? '')) {
    return `its Content-Security-Policy is ${headers.get('content-security-policy')}`;
  }
  if (isHtml(type)) {
    return markAsMarkup(text);
  }
  const allowed = status < 400 ? produces : ['application/problem+json'];
  return text !== '' && !allowed.includes((type ?? '').split(';')[0]) ? `its type is ${type}` : undefined;
}

/** Every text of a body, one after the other. */
async function inBodies(world, tally, deck, operation) {
  const client = world.allowed(operation);
  let request = await world.prepare(operation);
  for (const {path} of placesOf(operation.schema).filter(takesText)) {
    for (const payload of deck.deal(2)) {
      await tally.attempt(`${operation.key} ${pointerOf(path)} ${payload}`, async () => {
        const json = withValue(request.json, operation.schema, path, payload);
        const answer = await world.send(client, operation, request, {json});
        if (answer.status < 400) {
          request = await world.prepare(operation);
        }
        return isTakenForScript(answer, operation.produces);
      });
    }
  }
}

/** What an answer could repeat of the request: path, query and member names. */
async function reflected(world, tally, deck, {key, method, path, isPublic, produces, documented, ...operation}) {
  const accept = {accept: 'text/html, */*;q=0.5'};
  const headers = {...(isPublic ? {} : world.allowed({isPublic, ...operation}).headers), ...accept};
  for (const payload of deck.deal(4)) {
    const text = encodeURIComponent(payload);
    for (const target of [
      path.replaceAll(/\{[^}]*\}/g, text),
      `${path.replaceAll(/\{[^}]*\}/g, randomUUID())}?next=${text}&${text}=1`,
    ]) {
      await tally.attempt(`${method} ${target}`, async () => {
        const hasBody = ['POST', 'PUT', 'PATCH'].includes(method);
        const fields = fieldsOf({...headers, 'if-match': '"1"', ...(hasBody && {'content-type': 'application/json'})});
        const body = hasBody ? JSON.stringify({[payload]: payload}) : undefined;
        const answer = await ask(world.url, {method, target, fields, body});
        return isTakenForScript({headers: new Headers(answer.fields), text: answer.text, status: answer.status}, produces);
      });
    }
  }
}

/** A visit of which every text is `words`, through the schemas, so that a new text comes along. */
async function addVisitOf(world, words) {
  const {own} = world;
  const operation = (key) => world.operations.find((one) => one.key === key);
  const filledIn = (key, json) => {
    const {schema} = operation(key);
    return placesOf(schema)
      .filter((place) => takesText(place) && !place.schema.enum && !place.schema.format && !place.schema.pattern)
      .filter(({path}) => !['unit', 'data', 'mrn'].includes(path.at(-1)))
      .reduce((sum, {path}) => withValue(sum, schema, path, words), json);
  };
  const clinician = own.as('clinician');
  const mrn = `${words.slice(0, 40)} ${randomUUID().slice(0, 8)}`;
  const patient = filledIn('POST /v1/patients', patientDocument());
  const {json: person} = await clinician.post('/v1/patients', {...patient, mrn});
  const {json: study} = await clinician.post('/v1/studies', filledIn('POST /v1/studies', studyDocument(person.id)));
  const {document} = uroflowmetry();
  const target = `/v1/studies/${study.id}/recordings`;
  const {json} = await clinician.post(target, filledIn('POST /v1/studies/{id}/recordings', document));
  return {study, patient: person, recording: json.recording};
}

const idsOf = ({study, patient, recording}) => ({studies: study.id, patients: patient.id, recordings: recording.id});

/** What is read of such a visit, in every media type that there is. */
async function readBack(world, tally, words, skeletons) {
  const visit = await addVisitOf(world, words);
  const ids = idsOf(visit);
  const reading = world.operations.filter(
    ({isSafe, path, pathNames, roles}) => isSafe && pathNames.length === 1 && ids[path.split('/')[2]] && roles.includes('clinician'),
  );
  for (const operation of reading) {
    const target = operation.path.replace(/\{[^}]*\}/, ids[operation.path.split('/')[2]]);
    for (const accept of operation.produces) {
      await tally.attempt(`GET ${operation.path} as ${accept} with ${words}`, async () => {
        const answer = await world.own.as('clinician').request('GET', target, {headers: {accept}});
        const how = isTakenForScript(answer, operation.produces);
        if (how !== undefined || !isHtml(answer.headers.get('content-type'))) {
          return how;
        }
        if (!answer.text.includes(words === HARMLESS ? HARMLESS : MARK)) {
          return 'the words are not in it, so that nothing was attempted';
        }
        const skeleton = skeletonOf(answer.text);
        skeletons[operation.key] ??= skeleton;
        return skeleton === skeletons[operation.key] ? undefined : 'the document has other elements than with harmless words';
      });
    }
  }
}

/** Bytes that are no text must not get in at all. */
async function overlong(world, tally) {
  for (const bytes of OVERLONG) {
    await tally.attempt(`POST /v1/patients with ${bytes.toString('hex')}`, async () => {
      const [before, after] = JSON.stringify(patientDocument({given_name: 'HERE'})).split('HERE');
      const body = Buffer.concat([Buffer.from(before), bytes, Buffer.from(after)]);
      const answer = await world.own.room.request('POST', '/v1/patients', {
        body,
        headers: {'content-type': 'application/json'},
      });
      return answer.status < 400 || answer.status >= 500 ? `${answer.status}` : undefined;
    });
  }
}

/** Names of columns and labels of files come back in answers. */
async function inFiles(world, tally) {
  const visit = await world.own.addVisit();
  for (const words of SCRIPTS) {
    const label = words.replaceAll(/[,"\n]/g, ' ');
    await tally.attempt(`text/csv with a column ${words}`, async () => {
      const target = `/v1/studies/${visit.id}/recordings?type=uroflowmetry&started_at=2026-03-02T09:00:00Z&labels=${encodeURIComponent(`${label}:flow`)}`;
      const answer = await world.own.room.request('POST', target, {
        body: `time_s,${label} [mL/s]\n0,1\n1,2\n`,
        headers: {'content-type': 'text/csv'},
      });
      return isTakenForScript(answer, ['application/json']);
    });
  }
}

/** The judge of markup must itself notice each script that is tags, or this part would prove nothing. */
function checkJudge() {
  const page = (words) => `<!doctype html><title>t</title><p class="c">${words}</p>`;
  const plain = skeletonOf(page(HARMLESS));
  for (const words of SCRIPTS.filter((one) => /<[a-z/!]/i.test(one))) {
    assert.ok(markAsMarkup(page(words)) ?? skeletonOf(page(words)) !== plain, `nobody would notice ${words}`);
    assert.equal(markAsMarkup(page(words.replaceAll('&', '&amp;').replaceAll('<', '&lt;'))), undefined);
  }
}

export async function attack(world, tally) {
  checkJudge();
  const deck = new Deck(SCRIPTS);
  const skeletons = {};
  await readBack(world, tally, HARMLESS, skeletons);
  await each(SCRIPTS, (words) => readBack(world, tally, words, skeletons));
  await each(
    world.operations.filter(({schema}) => schema !== undefined),
    (operation) => inBodies(world, tally, deck, operation),
  );
  await each(world.operations, (operation) => reflected(world, tally, deck, operation));
  await overlong(world, tally);
  await inFiles(world, tally);
  for (const {path} of world.routes.filter((route) => route.method === 'GET' && !route.path.startsWith('/v1'))) {
    const page = {key: path, method: 'GET', path, isPublic: true, produces: ['text/html', 'text/javascript', 'text/css', 'text/plain', 'image/svg+xml', 'application/json']};
    await reflected(world, tally, deck, page);
  }
  deck.checkAllDealt(kind);
}
