// Attempts attacks of several kinds on a running server, counts them, and fails if any worked.
// tests/attacks/run starts it; parts may be named.
//
// The operations come from api-docs/openapi.json, `penstock-server routes` and tests/api/lib/recipes.mjs: a
// new operation or a new member of a body is attacked as soon as it is documented and has a recipe.
import {writeFileSync} from 'node:fs';
import {tableOf, Tally} from './lib/tally.mjs';
import {World} from './lib/world.mjs';

const PARTS = ['sql', 'headers', 'script', 'ids', 'foreign_sites', 'sessions', 'redirects', 'members', 'forms'];

const wanted = process.argv.slice(2);
const unknown = wanted.filter((name) => !PARTS.includes(name));
if (unknown.length > 0) {
  throw new Error(`no such part: ${unknown}; there are ${PARTS}`);
}

const world = await World.open();
const tallies = [];
const unattacked = world.unattacked();
world.operations = world.operations.filter(({key}) => !unattacked.some((text) => text.startsWith(`${key}:`)));
try {
  for (const name of wanted.length > 0 ? wanted : PARTS) {
    const {kind, attack} = await import(`./parts/${name}.mjs`);
    const tally = new Tally(kind);
    tallies.push(tally);
    const began = Date.now();
    await attack(world, tally);
    console.log(`${name}: ${tally.attempts} attempts, ${((Date.now() - began) / 1000).toFixed(1)} s`);
  }
} finally {
  await world.installation.remove();
}

unattacked.forEach((text) => console.log(`NOT ATTACKED, ${text}`));
const table = tableOf(tallies);
console.log(`\n${table}`);
if (process.env.PENSTOCK_TEST_ATTACKS) {
  writeFileSync(process.env.PENSTOCK_TEST_ATTACKS, `${table}\n`);
}
const isWell = unattacked.length === 0 && tallies.every(({attempts, successes}) => attempts > 0 && successes.length === 0);
process.exitCode = isWell ? 0 : 1;
