// One question at a time, in the browser's own dialog: it holds the focus and closes with Escape.
import {element, fill} from './dom.js';
import {notice} from './shell.js';
import {texts} from './texts.js';

let dialogNumber = 0;

/**
 * Asks until the answer was carried out or the question was dropped. `content`: nodes between title and
 * buttons, fields with names among them; `run(FormData)`: what the answer does, a failure is shown and the
 * question stays. Resolves with what `run` gave, or null.
 */
export function ask({title, content, submit, run}) {
  const heading = `dialog-${++dialogNumber}`;
  const problem = element('div', {});
  const main = submit && element('button', {type: 'submit', class: 'button button-main'}, submit);
  const cancel = element('button', {type: 'button', class: 'button'}, submit ? texts.dialog.cancel : texts.dialog.close);
  const form = element(
    'form',
    {},
    element('h2', {id: heading}, title),
    content,
    problem,
    element('div', {class: 'dialog-buttons'}, main, cancel),
  );
  const dialog = element('dialog', {class: 'dialog', 'aria-labelledby': heading}, form);
  let result = null;
  cancel.addEventListener('click', () => dialog.close());
  form.addEventListener('submit', async (event) => {
    event.preventDefault();
    main.disabled = true;
    try {
      result = await run(new FormData(form));
      dialog.close();
    } catch (error) {
      main.disabled = false;
      fill(problem, notice('error', error.message));
    }
  });
  document.body.append(dialog);
  dialog.showModal();
  return new Promise((resolve) => {
    dialog.addEventListener('close', () => {
      dialog.remove();
      resolve(result);
    });
  });
}
