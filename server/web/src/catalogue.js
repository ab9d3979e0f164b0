// Names, units and rounding of everything that is computed, as the server itself knows them.
import {get} from './api.js';
import {humanise} from './format.js';
import {CLASS_NAME, PART_NAME} from './texts.js';

const STEP_WITHOUT_ONE = 0.1;

/** section code -> {label, values: Map, lists: Map of {label, members: Map}} */
let sections = new Map();

const byCode = (rows) => new Map(rows.map((row) => [row.code, row]));

export async function loadCatalogue() {
  const answer = await get('/v1/parameters');
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

/** The name of a value of any section, or of a class. */
export function anyName(code) {
  if (CLASS_NAME[code]) return CLASS_NAME[code];
  for (const {values} of sections.values()) {
    if (values.has(code)) return values.get(code).label;
  }
  return humanise(code);
}

/** "voiding.booi" -> "Voiding: Bladder outlet obstruction index (BOOI)" */
export function pathName(path) {
  const [section, code] = path.split('.');
  return code ? `${sectionName(section)}: ${codeName(section, code)}` : sectionName(section);
}

export const stepOf = (section, code) => sections.get(section)?.values.get(code)?.report_step ?? STEP_WITHOUT_ONE;

/** The step of a value of any section. */
export function anyStep(code) {
  for (const {values} of sections.values()) {
    if (values.has(code)) return values.get(code).report_step;
  }
  return STEP_WITHOUT_ONE;
}

/** The members that a list's items have, in the server's order. */
export function membersOf(section, list, items) {
  const known = sections.get(section)?.lists.get(list)?.members ?? new Map();
  const seen = new Set(items.flatMap((item) => Object.keys(item)));
  const rest = [...seen].filter((code) => !known.has(code)).map((code) => ({code, label: humanise(code), report_step: STEP_WITHOUT_ONE}));
  return [...[...known.values()].filter(({code}) => seen.has(code)), ...rest];
}

/** What stands beside a value: "rise" -> "Rise". */
export const partName = (code) => PART_NAME[code] ?? humanise(code);
