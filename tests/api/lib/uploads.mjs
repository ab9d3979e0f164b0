// Uploads with numbers of their own, and whether they are there as they were sent.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {asFloat32, asInt16, STARTED_AT} from './recordings.mjs';

const BLOCK = 4096;

/** Samples by signal: several blocks, exactly one, and less than one; or all in one block. */
export const LONG = {pves: BLOCK + 1000, pabd: BLOCK, flow: 3000};
export const SHORT = {pves: 520, pabd: 200, flow: 100};

const SIGNALS = Object.keys(LONG);

/** To two decimals; JSON has no -0. */
const rounded = (value) => Number(value.toFixed(2)) + 0;

/** An upload in every encoding; `values` by signal is what must come back. No two numbers have the same
 * `started_at`, by which a recording can be told whatever its id. With `hasId` the client chooses that. */
export function makeUpload(studyId, number, {counts = LONG, hasId = true} = {}) {
  const level = number % 200;
  const wave = (count, height) =>
    Array.from({length: count}, (_, i) => rounded(height * Math.sin((i + number) / 20) + level));
  const rate_hz = 10;
  const decimal = {signal: 'pves', unit: 'cm[H2O]', rate_hz, samples: wave(counts.pves, 20)};
  const int16 = asInt16({signal: 'pabd', unit: 'cm[H2O]', rate_hz, samples: wave(counts.pabd, 10)}, 0.01, level);
  const flow = wave(counts.flow, 5).map((value) => value + 5);
  const float32 = asFloat32({signal: 'flow', unit: 'mL/s', rate_hz, samples: flow});
  const id = hasId ? randomUUID() : undefined;
  const events = [{at_s: 10 + (number % 400) / 10, code: 'cough'}];
  const started_at = new Date(Date.parse(STARTED_AT) + number * 1000).toISOString();
  return {
    id,
    key: `upload-${randomUUID()}`,
    studyId,
    number,
    startedAt_ms: Date.parse(started_at),
    body: JSON.stringify({
      id,
      type: 'pressure_flow',
      started_at,
      channels: [decimal, int16.channel, float32.channel],
      events,
    }),
    events,
    values: {pves: decimal.samples, pabd: int16.values, flow: float32.values},
  };
}

/** What was acknowledged is what was sent, to the last bit of the last sample; `client` may read it. */
export async function isThere(client, upload, acknowledged) {
  const target = `/v1/recordings/${acknowledged.recording.id}`;
  const [recording, analysis, events, traces] = await Promise.all(
    ['', '/analysis', '/events', `/traces?signals=${SIGNALS}`].map((part) => client.get(target + part)),
  );
  assert.deepEqual(recording.json, acknowledged.recording);
  assert.deepEqual(analysis.json, acknowledged.analysis);
  assert.deepEqual(events.json, {revision: 1, events: upload.events});
  assert.equal(traces.json.traces.length, SIGNALS.length);
  for (const {signal, samples} of traces.json.traces) {
    assert.deepEqual(samples, upload.values[signal], `${signal} of ${acknowledged.recording.id}`);
  }
}

/** Ids of a study's recordings that lack a channel, a block, a sample, a revision or an analysis. One to
 * which pieces may still come has none of all that. */
export async function halves(installation, studyId) {
  const found = await installation.rows(`
    select r.id from penstock.recording r
     where r.study_id = '${studyId}'
       and not (r.state = 'open' and r.revision = 0
         and not exists (select from penstock.recording_channel c where c.recording_id = r.id)
         and not exists (select from penstock.recording_revision v where v.recording_id = r.id))
       and not (
         (select count(*) from penstock.recording_channel c,
             lateral (select sum(sample_count) as samples, count(*) as blocks, max(block_number) as last
                        from penstock.sample_block b
                       where b.recording_id = c.recording_id and b.channel_number = c.number) found
           where c.recording_id = r.id and found.samples = c.sample_count
             and found.blocks = (c.sample_count + ${BLOCK - 1}) / ${BLOCK}
             and found.last = found.blocks - 1) = ${SIGNALS.length}
         and (select count(*) from penstock.recording_revision v
               where v.recording_id = r.id and v.revision = 1
                 and v.analysis::json ->> 'type' = r.type and json_array_length(v.events) = 1) = 1
         and r.revision = 1)`);
  return found.map(({id}) => id);
}
