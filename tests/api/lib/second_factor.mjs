// An authenticator of the tests' own: TOTP by Node's HMAC, and by oathtool as a second outside party.
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {createHmac} from 'node:crypto';

const STEP_MS = 30_000;
const BASE32 = 'ABCDEFGHIJKLMNOPQRSTUVWXYZ234567';

function bytesOf(secret) {
  const bits = [...secret].map((one) => BASE32.indexOf(one).toString(2).padStart(5, '0')).join('');
  return Buffer.from(bits.match(/.{8}/g).map((byte) => parseInt(byte, 2)));
}

/** RFC 6238 with SHA-1, 30 s and 6 digits; `steps` away from now. */
export function codeOf(secret, steps = 0) {
  const counter = Buffer.alloc(8);
  counter.writeBigUInt64BE(BigInt(Math.floor(Date.now() / STEP_MS) + steps));
  const mac = createHmac('sha1', bytesOf(secret)).update(counter).digest();
  const number = mac.readUInt32BE(mac.at(-1) & 15) & 0x7fffffff;
  return String(number % 1_000_000).padStart(6, '0');
}

export const oathtoolCode = (secret) => execFileSync('oathtool', ['--totp', '-b', secret]).toString().trim();

/** Waits when the step is about to end, so that what follows happens within one. */
export async function startOfStep(needMs = 10_000) {
  const left = STEP_MS - (Date.now() % STEP_MS);
  if (left < needMs) {
    await new Promise((resolve) => setTimeout(resolve, left + 100));
  }
}

/** Sets up a second factor for whoever is signed in; its secret, recovery codes and the new cookie. */
export async function enrol(client, password) {
  const {json: made} = await client.post('/v1/sessions/current/second-factor', {current_password: password});
  const answer = await client.expect(200, 'POST', '/v1/sessions/current/second-factor/confirmation', {
    json: {code: codeOf(made.secret, -1)},
  });
  assert.equal(answer.json.recovery_codes.length, 10);
  return {...made, recoveryCodes: answer.json.recovery_codes, answer};
}
