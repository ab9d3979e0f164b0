// Requests to the server that served the page. Every failure becomes a Failure that says what kind it
// is, so that pages can tell people what to do.
import {texts} from './texts.js';

export class Failure extends Error {
  /** kind: 'session' | 'credentials' | 'code' | 'wrong-code' | 'forbidden' | 'missing' | 'withdrawn' | 'changed' | 'wait' | 'refused' | 'away' */
  constructor(kind, message, {status = 0, retryAfterS = null, type = '', faults = []} = {}) {
    super(message);
    this.kind = kind;
    this.status = status; // 0: no answer
    this.retryAfterS = retryAfterS;
    this.type = type; // of the problem, where it has one of its own
    this.faults = faults; // {pointer, detail} of what was wrong in what was sent
  }
}

const KIND_BY_STATUS = {
  401: 'session', 403: 'forbidden', 404: 'missing', 410: 'withdrawn', 412: 'changed', 429: 'wait', 503: 'wait',
};

// A page that asks by itself must not keep a left workstation signed in: only what is asked while somebody
// does something counts as use of the session.
const IN_USE_MS = 60_000;
let lastInputMs = Date.now();
for (const kind of ['pointerdown', 'pointermove', 'keydown', 'wheel', 'touchstart']) {
  globalThis.addEventListener?.(kind, () => (lastInputMs = Date.now()), {capture: true, passive: true}); // none outside a page
}

const background = () => (Date.now() - lastInputMs > IN_USE_MS ? {'Penstock-Background': 'yes'} : {});

const JSON_BODY = {'Content-Type': 'application/json'};

async function failureOf(response) {
  const kind = KIND_BY_STATUS[response.status] ?? (response.status >= 500 ? 'away' : 'refused');
  let problem = {};
  try {
    problem = await response.json();
  } catch {
    // a proxy's own page: the status has to do
  }
  const wait = Number.parseInt(response.headers.get('Retry-After') ?? '', 10);
  const {type = '', detail = '', errors = []} = problem;
  const message = kind === 'refused' && detail ? `${texts.failures[kind]} (${detail})` : texts.failures[kind];
  return new Failure(kind, message, {
    status: response.status,
    retryAfterS: Number.isFinite(wait) ? wait : null,
    type,
    faults: errors,
  });
}

async function send(path, {read = (response) => response.json(), ...options} = {}) {
  let response;
  try {
    response = await fetch(path, {
      credentials: 'same-origin',
      cache: 'no-store',
      ...options,
      headers: {Accept: 'application/json', ...background(), ...options.headers},
    });
  } catch (error) {
    if (error.name === 'AbortError') throw error;
    throw new Failure('away', texts.failures.away);
  }
  if (!response.ok) throw await failureOf(response);
  return response.status === 204 ? null : read(response);
}

/** Goes to the sign-in page and remembers where to come back to. */
export function goToSignIn() {
  const here = location.pathname + location.search + location.hash;
  location.assign(`/sign-in?ended&next=${encodeURIComponent(here)}`);
}

// What a session must do first is done on one page.
const OWED = ['/problems/password-change-required', '/problems/second-factor-setup-required'];

/**
 * What `sending` gives; an expired session leads to the sign-in page, and one that has to do something else first
 * to the account's page. The promise then never settles.
 */
async function inSession(sending) {
  try {
    return await sending;
  } catch (error) {
    if (error.kind === 'session') goToSignIn();
    else if (OWED.includes(error.type) && location.pathname !== '/account') location.assign('/account');
    else throw error;
    return new Promise(() => {});
  }
}

function sendGet(path, parameters, options) {
  const query = new URLSearchParams();
  for (const [name, value] of Object.entries(parameters)) {
    if (value !== null && value !== undefined && value !== '') query.set(name, String(value));
  }
  const suffix = query.toString();
  return inSession(send(suffix ? `${path}?${suffix}` : path, options));
}

/**
 * GET; an expired session leads to the sign-in page and the promise then never settles. `cache`: patient data is
 * kept nowhere; what holds none may be kept by the browser and asked for again only by its ETag ('no-cache').
 */
export const get = (path, parameters = {}, signal = undefined, cache = 'no-store') =>
  sendGet(path, parameters, {signal, cache});

/** The same for an ArrayBuffer. */
export const getBytes = (path, parameters, signal) =>
  sendGet(path, parameters, {
    signal,
    headers: {Accept: 'application/octet-stream'},
    read: (response) => response.arrayBuffer(),
  });

/** POST of JSON; an expired session as in get(). `version`: of what is changed, as it was read. */
export function post(path, body, version = null) {
  const match = version === null ? {} : {'If-Match': `"${version}"`};
  return inSession(send(path, {method: 'POST', headers: {...JSON_BODY, ...match}, body: JSON.stringify(body)}));
}

/** PUT of JSON over version `version`; an expired session as in get(). */
export function put(path, body, version) {
  const headers = {...JSON_BODY, 'If-Match': `"${version}"`};
  return inSession(send(path, {method: 'PUT', headers, body: JSON.stringify(body)}));
}

/** DELETE; an expired session as in get(). */
export const remove = (path) => inSession(send(path, {method: 'DELETE'}));

let session = null;

/** Clinic and user of the page, asked for once, and again after a failure. */
export function currentSession() {
  session ??= get('/v1/sessions/current').catch((error) => {
    session = null;
    throw error;
  });
  return session;
}

/** Every item of a list, page by page, up to `most`. */
export async function getAll(path, parameters = {}, most = 2000) {
  const items = [];
  let cursor = null;
  do {
    const page = await get(path, {limit: 200, ...parameters, cursor});
    items.push(...page.items);
    cursor = page.next_cursor;
  } while (cursor && items.length < most);
  return items;
}

const SIGN_IN_KINDS = {
  '/problems/second-factor-required': 'code',
  '/problems/second-factor-wrong': 'wrong-code',
};

/** `code`: of the second factor; null as long as none was asked for. */
export async function signIn(username, password, code = null) {
  try {
    return await send('/v1/sessions', {
      method: 'POST',
      headers: JSON_BODY,
      body: JSON.stringify(code === null ? {username, password} : {username, password, code}),
    });
  } catch (error) {
    if (error.kind === 'session') {
      const kind = SIGN_IN_KINDS[error.type] ?? 'credentials';
      throw new Failure(kind, texts.failures[kind]);
    }
    throw error;
  }
}

/** How people may sign in: {password, single_sign_on: null or {name, href}}. */
export const signInMethods = () => send('/v1/sign-in-methods');

/** A session that has already ended counts as signed out. */
export async function signOut() {
  try {
    await send('/v1/sessions/current', {method: 'DELETE', headers: JSON_BODY});
  } catch (error) {
    if (error.kind !== 'session') throw error;
  }
}
