// The reference of what is computed is what the program prints.
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {readFileSync} from 'node:fs';
import {test} from 'node:test';

const reference = new URL('../../api-docs/parameters.md', import.meta.url);

test('api-docs/parameters.md is what penstock-server parameters prints', () => {
  const printed = execFileSync(process.env.PENSTOCK_TEST_SERVER, ['parameters'], {encoding: 'utf8'});
  assert.equal(readFileSync(reference, 'utf8'), printed, 'run: penstock-server parameters > api-docs/parameters.md');
});

test('every value names its definition and source', () => {
  const rows = readFileSync(reference, 'utf8').split('\n').filter((line) => line.startsWith('| `'));
  assert.ok(rows.length > 150, `${rows.length} rows`);
  for (const row of rows) {
    assert.ok(row.split('|').slice(1, -1).every((cell) => cell.trim() !== ''), row);
  }
});
