// Names, units and rounding of everything that is computed, as the server itself knows them.
import {get} from './api.js';
import {humanise} from './format.js';
import {CLASS_NAME} from './texts.js';

const STEP_WITHOUT_ONE = 0.1;

/** section code -> {label, values: Map, lists: Map of {label, members: Map}} */
let sections = new Map();

const byCode = (rows) => new Map(rows.map((row) => [row.code, row]));

export async function loadCatalogue() {
  const answer = await get('/v1/parameters', {}, undefined, 'no-cache');
  sections = new Map(
    answer.sections.map((section) => [
      section.code,
      {
        ...section,
        values: byCode(section.values),
        lists: new Map(section.lists.map((list) => [list.code, {...list, members: byCode(list.members)}])),
      },
    ]),
  );
}

export const sectionName = (section) => sections.get(section)?.label ?? humanise(section);

/** A value's or list's name within its section. */
export function codeName(section, code) {
  const known = sections.get(section);
  return known?.values.get(code)?.label ?? known?.lists.get(code)?.label ?? humanise(code);
}

/** The section that a code without one means: the document's own first, since some names are in several. */
function sectionHolding(code, present) {
  const order = [...Object.keys(present), ...sections.keys()];
  return order.find((section) => sections.get(section)?.values.has(code));
}

/** The row of a value, and undefined when it is none. `present`: the document's sections. */
export const anyRow = (code, present) => sections.get(sectionHolding(code, present))?.values.get(code);

/** The name of a class; most are the codes' own words. */
export const className = (code) => CLASS_NAME[code] ?? humanise(code);

/** "voiding.booi" -> "Voiding: Bladder outlet obstruction index (BOOI)" */
export function pathName(path) {
  const [section, code] = path.split('.');
  return code ? `${sectionName(section)}: ${codeName(section, code)}` : sectionName(section);
}

export const stepOf = (section, code) => sections.get(section)?.values.get(code)?.report_step ?? STEP_WITHOUT_ONE;

/** The members that a list's items have, in the server's order. */
export function membersOf(section, list, items) {
  const known = sections.get(section)?.lists.get(list)?.members ?? new Map();
  const seen = new Set(items.flatMap((item) => Object.keys(item)));
  const rest = [...seen].filter((code) => !known.has(code)).map((code) => ({code, label: humanise(code), report_step: STEP_WITHOUT_ONE}));
  return [...[...known.values()].filter(({code}) => seen.has(code)), ...rest];
}
