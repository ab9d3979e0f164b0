// What became of the uploads, seen through the API and from the side.
import {halves, isThere} from '../../api/lib/uploads.mjs';
import {inParallel, sleep} from './wait.mjs';

const READERS = 6;

async function recordingsOf(client, studyId) {
  const items = [];
  const target = `/v1/studies/${studyId}/recordings?limit=200`;
  for (let cursor = ''; cursor !== null; ) {
    const {json} = await client.get(`${target}${cursor && `&cursor=${encodeURIComponent(cursor)}`}`);
    items.push(...json.items);
    cursor = json.next_cursor;
  }
  return items;
}

/** Reading back is not what is tried here: a connection that breaks is made anew. */
async function again(read) {
  for (let tries = 1; ; tries++) {
    try {
      return await read();
    } catch (error) {
      if (!(error instanceof TypeError) || tries === 10) throw error;
      await sleep(300);
    }
  }
}

/** Counts of a room's uploads: {once, twice, partly, lost, unsent}.
 *
 * lost: acknowledged, and not there. partly: there without all that was sent, or other than it was
 * acknowledged. unsent: there, and nobody sent it. `problems` collects a line for each. */
export async function audit(installation, room, problems) {
  const client = room.clinic.room;
  const counts = {once: 0, twice: 0, partly: 0, lost: 0, unsent: 0};
  const tell = (kind, text) => {
    counts[kind]++;
    problems.push(`${kind}: ${text}`);
  };

  const found = new Map();
  const sent = new Map(room.uploads.map((upload) => [`${upload.studyId} ${upload.startedAt_ms}`, upload]));
  for (const study of await Promise.all(room.studies ?? [])) {
    for (const item of await again(() => recordingsOf(client, study.id))) {
      const upload = sent.get(`${study.id} ${Date.parse(item.started_at)}`);
      if (upload === undefined) {
        tell('unsent', `recording ${item.id}`);
      } else {
        found.set(upload, [...(found.get(upload) ?? []), item]);
      }
    }
    for (const id of await halves(installation, study.id)) {
      tell('partly', `recording ${id} in the database`);
    }
  }
  const listed = [...found.values()].reduce((sum, items) => sum + items.length, counts.unsent);
  const [{count}] = await installation.rows(
    `select count(*) from penstock.recording where clinic_id = '${room.clinic.id}'`,
  );
  for (let i = listed; i < count; i++) {
    tell('unsent', 'a recording in the database that no list names');
  }

  await inParallel(room.uploads, READERS, async (upload) => {
    const items = found.get(upload) ?? [];
    const acknowledged = room.acknowledged.get(upload);
    if (items.length > 1) {
      tell('twice', `upload ${upload.number}`);
    } else if (items.length === 1) {
      counts.once++;
    }
    if (acknowledged === undefined) {
      return;
    }
    if (!items.some(({id}) => id === acknowledged.recording.id)) {
      tell('lost', `upload ${upload.number}, acknowledged as ${acknowledged.recording.id}`);
      return;
    }
    try {
      await again(() => isThere(client, upload, acknowledged));
    } catch (error) {
      tell('partly', `upload ${upload.number}: ${error.message}`);
    }
  });
  return counts;
}
