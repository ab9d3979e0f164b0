// What every page after sign-in has around its content: skip link, head with the clinic and the user,
// and the caution at the foot.
import {currentSession, get, goToSignIn, signOut} from './api.js';
import {append, element, fill} from './dom.js';
import {texts} from './texts.js';

export function footer() {
  return element(
    'footer',
    {class: 'foot'},
    element('p', {class: 'caution'}, texts.caution),
    element('p', {}, element('a', {href: '/assets/licences.txt'}, texts.licences)),
  );
}

/** A message with what to do next; `retry` adds a button. */
export function notice(kind, message, retry = null) {
  return element(
    'div',
    {class: `notice notice-${kind}`, role: kind === 'error' ? 'alert' : 'status'},
    element('p', {}, message),
    retry && element('button', {type: 'button', class: 'button', on: {click: retry}}, texts.tryAgain),
  );
}

function userLine(session) {
  const roles = session.user.roles.map((role) => texts.shell.roles[role] ?? role).join(', ');
  return [
    element('span', {class: 'visually-hidden'}, `${texts.shell.signedInAs} `),
    element(
      'a',
      {class: 'user-name', href: '/account', 'aria-current': location.pathname === '/account' ? 'page' : null},
      session.user.display_name || session.user.username,
    ),
    element('span', {class: 'user-roles'}, roles),
  ];
}

async function leave(button, problem) {
  button.disabled = true;
  try {
    await signOut();
    location.assign('/sign-in');
  } catch (error) {
    button.disabled = false;
    fill(problem, notice('error', error.message));
  }
}

// Roles that are shown studies: api-docs/access.md.
const STUDY_READERS = ['room', 'clinician', 'physician', 'integration'];

// Roles that write letters.
const LETTER_WRITERS = ['clinician', 'physician'];

export const readsStudies = (session) => session.user.roles.some((role) => STUDY_READERS.includes(role));

/** Builds head, main and foot; returns main. `current`: the page's own path, to mark it. */
export function buildShell(current) {
  const main = element('main', {id: 'content', tabindex: '-1'});
  const clinic = element('p', {class: 'clinic'});
  const user = element('p', {class: 'user'});
  const problem = element('div', {});
  const first = element('a', {href: '/today', 'aria-current': current === '/today' ? 'page' : null}, texts.shell.today);
  const letters = element('span', {});
  const audit = element('span', {});
  const out = element('button', {type: 'button', class: 'button button-quiet'}, texts.shell.signOut);
  out.addEventListener('click', () => leave(out, problem));
  append(document.body, [
    element('a', {class: 'skip', href: '#content'}, texts.skip),
    element(
      'header',
      {class: 'head'},
      element('div', {class: 'head-name'}, element('a', {class: 'brand', href: '/today'}, texts.product), clinic),
      element(
        'nav',
        {'aria-label': texts.shell.navigation},
        first,
        letters,
        audit,
      ),
      element('div', {class: 'head-user'}, user, out),
    ),
    problem,
    main,
    footer(),
  ]);
  currentSession().then(
    (session) => {
      clinic.textContent = session.clinic.name;
      fill(user, userLine(session));
      if (!readsStudies(session)) first.textContent = texts.shell.start;
      if (session.user.roles.some((role) => LETTER_WRITERS.includes(role))) {
        const here = current === '/letters' ? 'page' : null;
        fill(letters, element('a', {href: '/letters', 'aria-current': here}, texts.shell.letters));
      }
      if (session.user.roles.includes('auditor')) {
        fill(audit, element('a', {href: '/audit', 'aria-current': current === '/audit' ? 'page' : null}, texts.shell.audit));
      }
    },
    (error) => fill(problem, notice('error', error.message)),
  );
  // A page kept by the browser's back button must not show a patient after sign-out.
  addEventListener('pageshow', (event) => {
    if (event.persisted) get('/v1/sessions/current').catch(goToSignIn);
  });
  return main;
}
