// Completing, withdrawing and restoring a recording, and the list of those that were withdrawn.
import {get, post} from './api.js';
import {ask} from './dialog.js';
import {element, fill} from './dom.js';
import {dayAndTime, humanise, timeOfDay} from './format.js';
import {notice} from './shell.js';
import {TYPE_NAME, texts} from './texts.js';

const say = texts.state;

export const typeName = (type) => TYPE_NAME[type] ?? humanise(type);

/** "Filling cystometry, 09:31" */
export const nameAndTime = (recording) => `${typeName(recording.type)}, ${timeOfDay(recording.started_at)}`;

/** Numbers between the ranges [first, last] that arrived, as ranges. */
export function missingPieces(received) {
  const missing = [];
  let next = 0;
  for (const [first, last] of received) {
    if (first > next) missing.push([next, first - 1]);
    next = last + 1;
  }
  return missing;
}

/** Completes an open recording after asking. Resolves with the recording, or null when it was dropped. */
const RESIDUAL_MOST_ML = 5000;

// The one condition that is measured only when everything is over; nobody can add it later.
const asksResidual = (type, conditions) =>
  ['uroflowmetry', 'pressure_flow'].includes(type) && conditions.post_void_residual_ml === undefined;

const withResidual = (conditions, entered) =>
  entered ? {conditions: {...conditions, post_void_residual_ml: Number(entered)}} : {};

export async function completeRecording(id) {
  const {chunks, state, type, conditions, started_at: startedAt} = await get(`/v1/recordings/${id}`);
  if (state !== 'open') return null;
  const title = say.completeTitle(nameAndTime({type, started_at: startedAt}));
  if (chunks.count === 0) return ask({title, content: element('p', {}, say.nothingCame)});
  const missing = missingPieces(chunks.received);
  const last = chunks.received.at(-1)[1];
  return ask({
    title,
    content: [
      element('p', {}, say.completeMeaning),
      missing.length > 0 && [
        element('p', {}, say.piecesMissing(missing.map(([from, to]) => (from === to ? from : `${from}–${to}`)).join(', '))),
        element(
          'label',
          {class: 'choice'},
          element('input', {type: 'checkbox', name: 'gaps', required: true}),
          say.acceptGaps,
        ),
      ],
      asksResidual(type, conditions) && [
        element('label', {class: 'field'}, say.residual, element('input', {type: 'number', name: 'residual', min: 0, max: RESIDUAL_MOST_ML, step: 'any'})),
      ],
    ],
    submit: say.complete,
    run: (answer) =>
      post(`/v1/recordings/${id}/completion`, {
        chunks: last + 1,
        accept_gaps: answer.get('gaps') !== null,
        ...withResidual(conditions, answer.get('residual')),
      }),
  });
}

const REASON_MOST = 1000;

function askReason(recording, {title, meaning, submit, path}) {
  return ask({
    title: title(nameAndTime(recording)),
    content: [
      element('p', {}, meaning),
      element(
        'div',
        {class: 'field'},
        element('label', {for: 'reason'}, say.reason),
        element('textarea', {id: 'reason', name: 'reason', rows: 3, required: true, maxlength: REASON_MOST}),
      ),
    ],
    submit,
    run: async (answer) => {
      const reason = answer.get('reason').trim();
      if (!reason) throw new Error(say.reasonMissing);
      const {version} = await get(`/v1/recordings/${recording.id}`);
      return post(`/v1/recordings/${recording.id}/${path}`, {reason}, version);
    },
  });
}

/** Both resolve with the recording as it is then, or null when the question was dropped. */
export const withdrawRecording = (recording) =>
  askReason(recording, {title: say.withdrawTitle, meaning: say.withdrawMeaning, submit: say.withdraw, path: 'withdrawal'});

const restoreRecording = (recording) =>
  askReason(recording, {title: say.restoreTitle, meaning: say.restoreMeaning, submit: say.restore, path: 'restoration'});

/** Who withdrew a recording, when and why: {reason, created_at, created_by}. */
export async function lastWithdrawal(id) {
  const {changes} = await get(`/v1/recordings/${id}/history`);
  return changes.filter(({change}) => change === 'withdrawn').at(-1);
}

/** The closed list at the foot of a study. `restored(recording)` when one comes back. */
export class WithdrawnList {
  constructor(studyId, {mayRestore, restored}) {
    Object.assign(this, {studyId, mayRestore, restored});
    this.element = element('div', {class: 'withdrawn-place'});
    this.open = false;
  }

  async load() {
    try {
      const {items} = await get(`/v1/studies/${this.studyId}/recordings`, {withdrawn: true});
      const withdrawn = items.filter(({state}) => state === 'withdrawn');
      const rows = await Promise.all(withdrawn.map((recording) => this.row(recording)));
      fill(this.element, rows.length > 0 && this.list(rows));
    } catch (error) {
      fill(this.element, notice('error', `${say.withdrawnFailed} ${error.message}`, () => this.load()));
    }
  }

  list(rows) {
    const details = element(
      'details',
      {class: 'withdrawn', open: this.open},
      element('summary', {}, say.withdrawn(rows.length)),
      element('p', {class: 'hint'}, say.withdrawnHint),
      element('ul', {}, rows),
    );
    details.addEventListener('toggle', () => {
      this.open = details.open;
    });
    return details;
  }

  async row(recording) {
    const {reason, created_at: at, created_by: by} = await lastWithdrawal(recording.id);
    return element(
      'li',
      {dataset: {withdrawn: recording.id}},
      element(
        'div',
        {},
        element('p', {class: 'withdrawn-what'}, nameAndTime(recording)),
        element('p', {}, say.withdrawnBy(element('bdi', {}, by?.name ?? texts.notRecorded), dayAndTime(at))),
        element('p', {class: 'withdrawn-reason'}, say.because(reason)),
      ),
      this.mayRestore &&
        element(
          'button',
          {type: 'button', class: 'button button-small', 'aria-label': say.restoreOf(nameAndTime(recording)), on: {click: () => this.restore(recording)}},
          say.restoreAsk,
        ),
    );
  }

  async restore(recording) {
    const back = await restoreRecording(recording);
    if (!back) return;
    await this.load();
    this.restored(back);
  }
}
