// Waiting and working side by side.
import {setTimeout as sleep} from 'node:timers/promises';

export {sleep};

/** Polls until `condition` gives something that is true, which is returned. */
export async function until(what, condition, limit_ms = 60_000) {
  const deadline = Date.now() + limit_ms;
  for (;;) {
    const found = await condition();
    if (found) {
      return found;
    }
    if (Date.now() > deadline) {
      throw new Error(`waited ${limit_ms / 1000} s in vain: ${what}`);
    }
    await sleep(20);
  }
}

/** Takes the items one after another, `width` of them at a time. The first failure ends it. */
export async function inParallel(items, width, act) {
  const iterator = items[Symbol.iterator]();
  let failed = false;
  const worker = async () => {
    for (let next = iterator.next(); !failed && !next.done; next = iterator.next()) {
      try {
        await act(next.value);
      } catch (error) {
        failed = true;
        throw error;
      }
    }
  };
  const ends = await Promise.allSettled(Array.from({length: width}, worker));
  const bad = ends.find(({status}) => status === 'rejected');
  if (bad) {
    throw bad.reason;
  }
}
