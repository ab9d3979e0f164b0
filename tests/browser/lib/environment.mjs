// What tests/run tells the tests. What is missing is an error: a test that skips itself proves nothing.
import {readFileSync} from 'node:fs';
import {createRequire} from 'node:module';
import path from 'node:path';

function required(name) {
  const value = process.env[name];
  if (!value) {
    throw new Error(`${name} is not set: run tests/run`);
  }
  return value;
}

/** The server under test, without a slash at the end. */
export const serverUrl = required('PENSTOCK_TEST_URL').replace(/\/$/, '');

/** The program penstock-server, with sanitisers, and the database of the server under test. */
export const serverProgram = () => required('PENSTOCK_TEST_SERVER');
export const ownerDatabase = () => required('PENSTOCK_TEST_OWNER_DATABASE');

export const artifacts = required('PENSTOCK_TEST_ARTIFACTS');

export const packageOf = createRequire(path.join(required('PENSTOCK_TEST_PACKAGES'), 'package.json'));

const demo = JSON.parse(readFileSync(required('PENSTOCK_TEST_DEMO'), 'utf8'));

/** Name and password of a demo account with a role. */
export function demoUser(role) {
  const user = demo.users.find((one) => one.role === role || one.roles?.includes(role));
  if (!user) {
    throw new Error(`the demo has no account with the role ${role}`);
  }
  return user;
}
