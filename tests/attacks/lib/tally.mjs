// What was attempted, and what worked.

/** One kind of attack. */
export class Tally {
  constructor(kind) {
    Object.assign(this, {kind, attempts: 0, successes: []});
  }

  /** `act` gives undefined when the attack did not work, else how it did. An answer that breaks the
   * contract counts as well: nobody can say what it gave away. */
  async attempt(what, act) {
    this.attempts++;
    try {
      const how = await act();
      if (how !== undefined) {
        this.worked(what, how);
      }
    } catch (error) {
      this.worked(what, error.code === 'ERR_ASSERTION' ? error.message : error.stack);
    }
  }

  worked(what, how) {
    this.successes.push(`${what}: ${how}`);
  }
}

/** Deals payloads in turn, so that few for each place are all of them over all places. */
export class Deck {
  constructor(cards) {
    Object.assign(this, {cards, next: 0});
  }

  deal(count) {
    return Array.from({length: Math.min(count, this.cards.length)}, () => this.cards[this.next++ % this.cards.length]);
  }

  /** Fails when there was no place for some of them. */
  checkAllDealt(what) {
    if (this.next < this.cards.length) {
      throw new Error(`${what}: only ${this.next} of ${this.cards.length} payloads were tried`);
    }
  }
}

/** Runs `act` for each item, some at a time. */
export async function each(items, act, width = 6) {
  const left = [...items];
  const work = async () => {
    for (let item = left.shift(); item !== undefined; item = left.shift()) {
      await act(item);
    }
  };
  await Promise.all(Array.from({length: width}, work));
}

/** The table of all kinds, as text; the first successes above it. */
export function tableOf(tallies) {
  const lines = tallies.flatMap(({kind, successes}) => successes.slice(0, 20).map((text) => `WORKED, ${kind}: ${text}`));
  const rows = tallies.map(({kind, attempts, successes}) => [kind, attempts, successes.length]);
  const sum = (column) => rows.reduce((total, row) => total + row[column], 0);
  const table = [['kind of attack', 'attempts', 'worked'], ...rows, ['all', sum(1), sum(2)]];
  const widths = [0, 1, 2].map((column) => Math.max(...table.map((row) => String(row[column]).length)));
  const text = table.map((row) =>
    row.map((cell, i) => (i === 0 ? cell.padEnd(widths[i]) : String(cell).padStart(widths[i]))).join('  '),
  );
  return [...lines, ...(lines.length > 0 ? [''] : []), ...text].join('\n');
}
