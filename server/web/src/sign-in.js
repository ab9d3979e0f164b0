import {signIn, signInMethods} from './api.js';
import {append, element, fill} from './dom.js';
import {footer} from './shell.js';
import {texts} from './texts.js';

/** Only a path of this server, so that nobody can be led elsewhere through the address. */
function destination() {
  const next = new URLSearchParams(location.search).get('next') ?? '';
  const address = new URL(next.startsWith('/') ? next : '/today', location.origin);
  // A path that begins with // would lead to another host.
  const own =
    address.origin === location.origin && !/^\/(\/|sign-in)/.test(address.pathname);
  return own ? address.pathname + address.search + address.hash : '/today';
}

function explain(error) {
  if (error.kind !== 'wait') return error.message;
  const wait = error.retryAfterS
    ? texts.signIn.waitSeconds(error.retryAfterS)
    : texts.signIn.waitSome;
  return error.status === 503 ? error.message : texts.signIn.tooMany(wait);
}

function field(id, label, type, autocomplete) {
  const input = element('input', {
    id,
    name: id,
    type,
    autocomplete,
    required: true,
    autocapitalize: 'none',
    spellcheck: 'false',
    maxlength: 200,
  });
  return {input, row: element('div', {class: 'field'}, element('label', {for: id}, label), input)};
}

/** The way to the hospital's own sign-in, where there is one; without an answer the form has to do. */
async function offerSingleSignOn(place) {
  const methods = await signInMethods().catch(() => null);
  if (!methods?.single_sign_on) return;
  const {name, href} = methods.single_sign_on;
  const address = `${href}?next=${encodeURIComponent(destination())}`;
  fill(place, [
    element('a', {class: 'button button-main', href: address}, texts.signIn.single(name)),
    element('p', {class: 'or'}, texts.signIn.or),
  ]);
}

function build() {
  const username = field('username', texts.signIn.username, 'text', 'username');
  const password = field('password', texts.signIn.password, 'password', 'current-password');
  const code = field('code', texts.signIn.code, 'text', 'one-time-code');
  code.input.setAttribute('aria-describedby', 'code-hint');
  code.row.append(element('p', {id: 'code-hint', class: 'hint'}, texts.signIn.codeHint));
  code.row.hidden = true;
  code.input.required = false;
  const message = element('div', {id: 'sign-in-message', class: 'form-message', role: 'alert'});
  const button = element('button', {type: 'submit', class: 'button button-main'}, texts.signIn.submit);

  function show(text) {
    fill(message, text && element('p', {class: 'notice notice-error'}, text));
    for (const {input} of [username, password]) {
      input.toggleAttribute('aria-invalid', false);
      if (text) input.setAttribute('aria-describedby', message.id);
      else input.removeAttribute('aria-describedby');
    }
  }

  /** The password was right: from now on the code is asked for, and the rest stays. */
  function askForCode() {
    code.row.hidden = false;
    code.input.value = '';
    code.input.focus();
  }

  /** Whoever changes name or password begins anew. */
  function forgetCode() {
    code.row.hidden = true;
    code.input.value = '';
  }

  function focusAfter(error) {
    if (error.kind === 'code' || error.kind === 'wrong-code') {
      askForCode();
      return;
    }
    password.input.value = '';
    forgetCode();
    (error.kind === 'credentials' ? password.input : button).focus();
  }

  async function submit(event) {
    event.preventDefault();
    show('');
    if (!username.input.value.trim() || !password.input.value) {
      show(texts.signIn.missing);
      (username.input.value.trim() ? password : username).input.focus();
      return;
    }
    if (!code.row.hidden && !code.input.value.trim()) {
      show(texts.signIn.missingCode);
      code.input.focus();
      return;
    }
    button.disabled = true;
    button.textContent = texts.signIn.busy;
    try {
      const wanted = code.row.hidden ? null : code.input.value.trim();
      const session = await signIn(username.input.value.trim(), password.input.value, wanted);
      location.assign(session.owes.length > 0 ? '/account' : destination());
    } catch (error) {
      show(explain(error));
      button.disabled = false; // or it could not have the focus
      focusAfter(error);
    } finally {
      button.disabled = false;
      button.textContent = texts.signIn.submit;
    }
  }

  const single = element('div', {class: 'single-sign-on'});
  document.title = texts.pageTitle(texts.signIn.title);
  append(document.body, [
    element(
      'main',
      {id: 'content', class: 'sign-in'},
      element('p', {class: 'brand'}, texts.product),
      element('h1', {}, texts.signIn.title),
      element('p', {class: 'lead'}, texts.signIn.lead),
      new URLSearchParams(location.search).has('ended') &&
        element('p', {class: 'notice notice-info', role: 'status'}, texts.signIn.ended),
      single,
      element(
        'form',
        {novalidate: true, on: {submit}},
        username.row,
        password.row,
        code.row,
        message,
        button,
      ),
    ),
    footer(),
  ]);
  for (const {input} of [username, password]) input.addEventListener('input', forgetCode);
  username.input.focus();
  offerSingleSignOn(single);
}

build();
