// A person's own account: password, second factor, where they are signed in.
import {currentSession, get, post, remove} from './api.js';
import {ask} from './dialog.js';
import {append, descriptionList, element, fill} from './dom.js';
import {dayAndTime} from './format.js';
import {qrCode} from './qr.js';
import {buildShell, notice} from './shell.js';
import {texts} from './texts.js';

const T = texts.account;
const FACTOR = '/v1/sessions/current/second-factor';

function field(id, label, {type = 'password', autocomplete, hint = null}) {
  const hintId = hint && `${id}-hint`;
  const input = element('input', {
    id, name: id, type, autocomplete, required: true, autocapitalize: 'none', spellcheck: 'false', maxlength: 512,
    'aria-describedby': hintId,
  });
  return element(
    'div',
    {class: 'field'},
    element('label', {for: id}, label),
    input,
    hint && element('p', {id: hintId, class: 'hint'}, hint),
  );
}

/** What a failure means here; `wrongCode` differs between a first code and a later one. */
function explain(error, wrongCode) {
  const [fault] = error.faults ?? [];
  if (error.status === 429) {
    return T.tooMany(error.retryAfterS ? texts.signIn.waitSeconds(error.retryAfterS) : texts.signIn.waitSome);
  }
  if (fault?.pointer === '/current_password') return T.wrongCurrent;
  if (fault?.pointer === '/code') return wrongCode;
  if (fault?.pointer === '/new_password') return fault.detail;
  return error.message;
}

/** For ask(): what was sent, with failures in this page's words. */
async function proven(sending, wrongCode = T.usedCode) {
  try {
    return await sending;
  } catch (error) {
    error.message = explain(error, wrongCode);
    throw error;
  }
}

// ---- password

function passwordSection(onChanged) {
  const message = element('div', {role: 'alert'});
  const fields = [
    field('current_password', T.currentPassword, {autocomplete: 'current-password'}),
    field('new_password', T.newPassword, {autocomplete: 'new-password', hint: T.passwordHint}),
    field('repeat_password', T.repeatPassword, {autocomplete: 'new-password'}),
  ];
  const inputs = fields.map((row) => row.querySelector('input'));
  const show = element('input', {type: 'checkbox', id: 'show-passwords'});
  const button = element('button', {type: 'submit', class: 'button button-main'}, T.change);
  show.addEventListener('change', () => {
    for (const input of inputs) input.type = show.checked ? 'text' : 'password';
  });

  async function submit(event) {
    event.preventDefault();
    const [current, chosen, repeated] = inputs.map((input) => input.value);
    fill(message);
    if (!current || !chosen || !repeated) {
      fill(message, notice('error', T.missing));
      inputs.find((input) => !input.value).focus();
      return;
    }
    if (chosen !== repeated) {
      fill(message, notice('error', T.different));
      inputs[2].focus();
      return;
    }
    button.disabled = true;
    try {
      await post('/v1/sessions/current/password', {current_password: current, new_password: chosen});
      event.target.reset();
      for (const input of inputs) input.type = 'password';
      fill(message, notice('info', T.changed));
      onChanged();
    } catch (error) {
      fill(message, notice('error', explain(error, '')));
    } finally {
      button.disabled = false;
    }
  }

  return element(
    'section',
    {class: 'account-part', 'aria-labelledby': 'password-title'},
    element('h2', {id: 'password-title'}, T.password),
    element(
      'form',
      {id: 'password-form', novalidate: true, on: {submit}},
      fields,
      element('label', {class: 'choice', for: 'show-passwords'}, show, T.showPasswords),
      message,
      button,
    ),
  );
}

// ---- second factor

const passwordField = () => field('proof_password', T.currentPassword, {autocomplete: 'current-password'});
const codeField = (hint = null) =>
  field('proof_code', T.code, {type: 'text', autocomplete: 'one-time-code', hint});

const proofOf = (data) => ({current_password: data.get('proof_password'), code: data.get('proof_code')});

const askForProof = (title, what, submit, path) =>
  ask({
    title,
    content: [element('p', {}, what), passwordField(), codeField(texts.signIn.codeHint)],
    submit,
    run: async (data) => (await proven(post(path, proofOf(data)))) ?? true,
  });

async function showCodes(codes) {
  await ask({
    title: T.codesTitle,
    content: [
      element('p', {}, T.codesWhat),
      element('ul', {class: 'recovery-codes'}, codes.map((code) => element('li', {}, element('code', {}, code)))),
    ],
    submit: T.kept,
    run: async () => true,
  });
}

async function setUp() {
  const made = await ask({
    title: T.setUpTitle,
    content: [element('p', {}, T.proveWho), passwordField()],
    submit: T.setUp,
    run: (data) => proven(post(FACTOR, {current_password: data.get('proof_password')})),
  });
  if (made === null) return;
  const confirmed = await ask({
    title: T.setUpTitle,
    content: [
      element('p', {}, T.scan),
      qrCode(made.uri, T.qrLabel),
      descriptionList('facts factor-facts', [
        [T.secret, element('code', {}, made.secret)],
        [T.address, element('code', {}, made.uri)],
      ]),
      codeField(),
    ],
    submit: T.confirm,
    run: (data) => proven(post(`${FACTOR}/confirmation`, {code: data.get('proof_code').trim()}), T.wrongCode),
  });
  if (confirmed !== null) await showCodes(confirmed.recovery_codes);
}

async function renewCodes() {
  const renewed = await askForProof(T.renewCodes, T.renewWhat, T.renew, `${FACTOR}/recovery-codes`);
  if (renewed !== null) await showCodes(renewed.recovery_codes);
}

function factorButton(label, act, refresh) {
  return element(
    'button',
    {type: 'button', class: 'button', on: {click: async () => { await act(); refresh(); }}},
    label,
  );
}

function factorContent(factor, refresh) {
  if (factor.enabled) {
    return [
      element('p', {}, T.factorOn(dayAndTime(factor.confirmed_at)), ' ', T.codesLeft(factor.recovery_codes_left)),
      element(
        'div',
        {class: 'actions'},
        factorButton(T.renewCodes, renewCodes, refresh),
        factorButton(T.remove, () => askForProof(T.removeTitle, T.removeWhat, T.remove, `${FACTOR}/removal`), refresh),
      ),
    ];
  }
  return [
    element('p', {}, T.factorOff),
    factor.available
      ? element('div', {class: 'actions'}, factorButton(T.setUp, setUp, refresh))
      : element('p', {class: 'hint'}, T.factorUnavailable),
  ];
}

// ---- sessions

function sessionRow(session, end) {
  const began = dayAndTime(session.created_at);
  return element(
    'tr',
    {},
    element('th', {scope: 'row'}, began),
    element('td', {}, dayAndTime(session.last_used_at)),
    element('td', {}, session.address),
    element('td', {class: 'session-browser'}, session.user_agent || T.unnamed),
    element(
      'td',
      {},
      session.current
        ? T.thisOne
        : element(
            'button',
            {type: 'button', class: 'button button-small', 'aria-label': T.endLabel(began),
              on: {click: () => end(`/v1/sessions/${session.id}`)}},
            T.end,
          ),
    ),
  );
}

function sessionsContent(sessions, end) {
  const titles = [T.began, T.used, T.where, T.browser, T.action];
  return [
    element(
      'div',
      {class: 'table-scroll', tabindex: '0', role: 'region', 'aria-labelledby': 'sessions-title'},
      element(
        'table',
        {class: 'sessions'},
        element('thead', {}, element('tr', {}, titles.map((title) => element('th', {scope: 'col'}, title)))),
        element('tbody', {}, sessions.map((session) => sessionRow(session, end))),
      ),
    ),
    sessions.length > 1
      ? element(
          'div',
          {class: 'actions'},
          element(
            'button',
            {type: 'button', class: 'button', on: {click: () => end('/v1/sessions?others=true')}},
            T.endOthers,
          ),
        )
      : element('p', {class: 'hint'}, T.noOthers),
  ];
}

// ---- the page

/** A part that is asked for, and asked for again after each change. */
function part(id, title, intro, load) {
  const content = element('div', {});
  async function refresh() {
    try {
      fill(content, await load(refresh));
    } catch (error) {
      fill(content, notice('error', error.message, refresh));
    }
    content.dataset.ready = '';
  }
  const section = element(
    'section',
    {class: 'account-part', id, 'aria-labelledby': `${id}-title`},
    element('h2', {id: `${id}-title`}, title),
    intro && element('p', {}, intro),
    content,
  );
  return {section, refresh};
}

function sessionsPart() {
  return part('sessions', T.sessions, null, async (refresh) => {
    const {items} = await get('/v1/sessions');
    return sessionsContent(items, async (path) => {
      await remove(path);
      await refresh();
    });
  });
}

/** What is still owed is asked anew: a password may have been changed, or a factor confirmed, just now. */
async function showOwed(place) {
  const {owes} = await get('/v1/sessions/current');
  const owed = {password: T.owesPassword, second_factor: T.owesFactor}[owes[0]];
  if (owed) {
    fill(place, notice('info', owed));
  } else if (place.firstChild) {
    fill(place, element('p', {}, element('a', {class: 'button', href: '/today'}, T.goOn)));
  }
  return owes;
}

async function begin() {
  document.title = texts.pageTitle(T.title);
  const main = buildShell('/account');
  const owed = element('div', {});
  const sessions = sessionsPart();
  const factor = part('factor', T.factor, T.factorWhat, async (refresh) =>
    factorContent(await get(FACTOR), async () => {
      await refresh();
      await showRest();
    }),
  );

  async function showRest() {
    const owes = await showOwed(owed);
    factor.section.hidden = owes.includes('password');
    sessions.section.hidden = owes.length > 0;
    if (!owes.includes('password')) await factor.refresh();
    if (owes.length === 0) await sessions.refresh();
  }

  append(main, [
    element('h1', {}, T.title),
    owed,
    passwordSection(showRest),
    factor.section,
    sessions.section,
  ]);
  await currentSession();
  await showRest();
  main.dataset.ready = '';
}

begin();
