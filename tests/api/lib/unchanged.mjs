import assert from 'node:assert/strict';
import {after, before} from 'node:test';

/** For a describe(): what its tests are refused leaves nothing behind in the installation. */
export function leavesNothing(installation) {
  let contents;

  before(async () => {
    contents = await installation().contents();
  });

  after(async () => {
    assert.deepEqual(await installation().contents(), contents, 'refused requests left something behind');
  });
}
