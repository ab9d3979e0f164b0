// What a part of the tests did and found, and the table of all.

const COLUMNS = ['sent', 'acknowledged', 'attempts', 'cuts', 'kills', 'broken', 'told to wait', 'replayed'];
const FOUND = ['once', 'twice', 'partly', 'lost', 'unsent'];
const BAD = ['twice', 'partly', 'lost', 'unsent'];

export class Report {
  constructor(name) {
    Object.assign(this, {name, counts: {}, faults: [], problems: []});
  }

  /** Runs a part; how it fails is a problem among others. */
  async run(act) {
    const began = Date.now();
    try {
      await act();
    } catch (error) {
      this.problems.push(`failed: ${error.stack ?? error}`);
    }
    this.seconds = (Date.now() - began) / 1000;
    console.log(`${this.name}: ${this.seconds.toFixed(0)} s${this.problems.length > 0 ? ', with problems' : ''}`);
  }

  /** A fault that happened `count` times, and had to happen at least `least` times. */
  fault(name, count, least) {
    this.faults.push({name, count, least});
    if (count < least) {
      this.problems.push(`too few: ${name}: ${count}, planned at least ${least}`);
    }
  }

  /** A number for the table: of cuts or kills. */
  count(name, count) {
    this.counts[name] = (this.counts[name] ?? 0) + count;
  }

  /** Adds what a room did, and what the audit found of it. */
  room(room, found) {
    const did = {
      sent: room.uploads.length,
      acknowledged: room.acknowledged.size,
      attempts: room.attempts,
      broken: room.broken,
      'told to wait': room.toldToWait,
      replayed: room.replayed,
    };
    for (const [name, count] of Object.entries({...did, ...found})) {
      this.count(name, count);
    }
    if (did.acknowledged < did.sent) {
      this.problems.push(`${did.sent - did.acknowledged} uploads were never acknowledged`);
    }
  }
}

/** Prints everything; whether all was well. */
export function printTable(reports) {
  const names = [...COLUMNS, ...FOUND];
  const rows = reports.map(({name, counts}) => [name, ...names.map((one) => counts[one] ?? '-')]);
  const total = names.map((one) => reports.reduce((sum, {counts}) => sum + (counts[one] ?? 0), 0));
  const table = [['part', ...names], ...rows, ['total', ...total]].map((row) => row.map(String));
  const widths = table[0].map((_, i) => Math.max(...table.map((row) => row[i].length)));
  const line = (row) => row.map((cell, i) => (i === 0 ? cell.padEnd(widths[i]) : cell.padStart(widths[i]))).join('  ');

  console.log('\nFaults that happened (planned at least)');
  for (const {name, faults} of reports) {
    for (const {name: fault, count, least} of faults) {
      console.log(`  ${name}: ${fault}: ${count} (${least})`);
    }
  }
  const problems = reports.flatMap(({name, problems: those}) => those.map((text) => `${name}: ${text}`));
  if (problems.length > 0) {
    console.log(`\n${problems.length} problems`);
    problems.slice(0, 50).forEach((text) => console.log(`  ${text}`));
  }
  console.log(`\n${table.map(line).join('\n')}`);
  const bad = BAD.map((name) => `${name} ${total[names.indexOf(name)]}`).join(', ');
  console.log(`\n${problems.length === 0 ? 'All well' : 'NOT WELL'}: ${bad}`);
  return problems.length === 0 && reports.length > 0 && reports.every(({counts}) => counts.sent > 0);
}
