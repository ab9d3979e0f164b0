// What tests/run tells the tests. What is missing is an error: a test that skips itself proves nothing.
import {readFileSync} from 'node:fs';
import {createRequire} from 'node:module';
import path from 'node:path';
import {fileURLToPath} from 'node:url';

export const SOURCE = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '../../..');

function required(name) {
  const value = process.env[name];
  if (!value) {
    throw new Error(`${name} is not set: run tests/run`);
  }
  return value;
}

/** The program penstock-server, with sanitisers. */
export const serverProgram = () => path.resolve(required('PENSTOCK_TEST_SERVER'));

/** libpq string of a superuser of the private cluster. */
export const superuserDatabase = () => required('PENSTOCK_TEST_DATABASE');

/** Folder that the demo generator wrote. */
export const demoData = () => required('PENSTOCK_TEST_DEMO_DATA');

/** The server that has the demo loaded: its address, accounts and tokens. */
export function demo() {
  return {...JSON.parse(readFileSync(required('PENSTOCK_TEST_DEMO'), 'utf8')), url: required('PENSTOCK_TEST_URL')};
}

/** A package of this folder's lock file; the modules' own folder has no node_modules. */
export function packageOf(name) {
  return createRequire(path.join(path.resolve(required('PENSTOCK_TEST_PACKAGES')), 'package.json'))(name);
}

export const readSource = (name) => readFileSync(path.join(SOURCE, name), 'utf8');
