// A recording cut into pieces, as an examination room sends it while it runs.

/** The document that opens a recording of which `document` is the whole. */
export function openingOf(studyId, document, fields = {}) {
  const {type, started_at, conditions} = document;
  const channels = document.channels.map(({signal, unit, rate_hz, start_s}) => ({signal, unit, rate_hz, start_s}));
  return {study_id: studyId, type, started_at, conditions, channels, ...fields};
}

const isWithin = (at_s, from_s, to_s) => at_s >= from_s && at_s < to_s;

/** Bytes of a sample in base64. */
const WIDTHS = {int16: 2, float32: 4};

const countOf = ({samples, encoding, data}) => samples?.length ?? Buffer.from(data, 'base64').length / WIDTHS[encoding];

/** The samples from `first` to before `end`, as the channel itself has them. */
function stretch({samples, encoding, scale, offset, data}, first, end) {
  if (samples !== undefined) {
    return {samples: samples.slice(first, end)};
  }
  const bytes = Buffer.from(data, 'base64').subarray(first * WIDTHS[encoding], end * WIDTHS[encoding]);
  return {encoding, scale, offset, data: bytes.toString('base64')};
}

function cutChannel(channel, from_s, to_s) {
  const {signal, rate_hz, start_s = 0} = channel;
  const count = countOf(channel);
  const index = (at_s) => Math.min(Math.max(Math.ceil((at_s - start_s) * rate_hz - 1e-6), 0), count);
  const [first, end] = [index(from_s), index(to_s)];
  return first === end ? {signal, first} : {signal, first, ...stretch(channel, first, end)};
}

/** Seconds from the start to the end of the last channel. */
export const durationOf = ({channels}) =>
  Math.max(...channels.map((channel) => (channel.start_s ?? 0) + countOf(channel) / channel.rate_hz));

/** Pieces of `length_s` each; the last holds what is left. */
export function cut(document, length_s) {
  const count = Math.max(1, Math.ceil(durationOf(document) / length_s - 1e-6));
  return Array.from({length: count}, (_, i) => {
    const [from_s, to_s] = [i * length_s, i === count - 1 ? Infinity : (i + 1) * length_s];
    return {
      channels: document.channels.map((channel) => cutChannel(channel, from_s, to_s)),
      events: (document.events ?? []).filter(({at_s}) => isWithin(at_s, from_s, to_s)),
    };
  });
}

/** Opens a recording; its id. */
export async function open(client, studyId, document, fields = {}) {
  return (await client.post('/v1/recordings', openingOf(studyId, document, fields))).json.id;
}

export const send = (client, id, number, piece, status = 200) =>
  client.expect(status, 'PUT', `/v1/recordings/${id}/chunks/${number}`, {json: piece});

export const complete = (client, id, json, status = 200) =>
  client.expect(status, 'POST', `/v1/recordings/${id}/completion`, {json});

/** Withdraws (or restores) a recording as it is now. */
export async function changeState(client, id, what, reason = 'a test') {
  const {headers} = await client.get(`/v1/recordings/${id}`);
  const options = {json: {reason}, headers: {'if-match': headers.get('etag')}};
  return client.expect(200, 'POST', `/v1/recordings/${id}/${what}`, options);
}

/** A generator of numbers in [0, 1) that gives the same ones for the same seed (a linear congruential
 * one, modulus 2^32). */
export function random(seed) {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

/** The items in an order that `next` decides. */
export function shuffled(items, next) {
  const left = [...items];
  return items.map(() => left.splice(Math.floor(next() * left.length), 1)[0]);
}
