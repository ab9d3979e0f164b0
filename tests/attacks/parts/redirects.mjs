// Addresses that would lead a visitor to another host: in paths, Host and whatever a Location could be made
// of. It works when a Location leaves this server. Where the sign-in page goes is seen in a browser:
// tests/browser/attacks.test.mjs.
import {EVIL_PATHS} from '../lib/payloads.mjs';
import {each} from '../lib/tally.mjs';
import {ask, fieldsOf} from '../lib/wire.mjs';

export const kind = 'open redirects';

/** Where a browser that is at `base` goes; undefined when it stays. */
function leaves(world, answer, base) {
  const location = answer?.header('location');
  if (location === undefined) {
    return undefined;
  }
  let to;
  try {
    to = new URL(location, base);
  } catch {
    return `Location: ${location}`;
  }
  const next = to.searchParams.get('next');
  const isOwn = to.origin === new URL(world.url).origin && !/^\/[/\\]/.test(location) && !/[\\\t\r\n]/.test(location);
  return isOwn && (next === null || next.startsWith('/')) ? undefined : `Location: ${location}`;
}

/** Hosts that a request may name. */
const HOSTS = ['evil.example', 'evil.example:80', '127.0.0.1.evil.example'];

export async function attack(world, tally) {
  const pages = world.routes.filter(({method, path}) => method === 'GET' && !path.startsWith('/v1'));
  const attempt = (what, request) =>
    tally.attempt(what, async () => leaves(world, await ask(world.url, request), world.url));
  for (const payload of EVIL_PATHS) {
    for (const target of [payload, `/${payload}`, `${payload}/today`, `/today${payload}`, `/studies/${encodeURIComponent(payload)}`]) {
      await attempt(`GET ${target}`, {method: 'GET', target: target.replaceAll(' ', '%20')});
    }
  }
  for (const {path} of pages) {
    const target = path.replaceAll(/\{[^}]*\}/g, '00000000-0000-4000-8000-000000000000');
    for (const payload of EVIL_PATHS) {
      for (const name of ['next', 'url', 'redirect']) {
        await attempt(`GET ${target}?${name}=${payload}`, {method: 'GET', target: `${target}?${name}=${encodeURIComponent(payload)}`});
      }
    }
    for (const host of HOSTS) {
      await tally.attempt(`GET ${target} of ${host}`, async () => {
        const fields = [['X-Forwarded-Host', host], ['Forwarded', `host=${host}`], ['X-Forwarded-Proto', 'javascript']];
        const answer = await ask(world.url, {method: 'GET', target: `http://${host}${target}`, fields});
        return answer?.header('location')?.includes('evil') ? `Location: ${answer.header('location')}` : undefined;
      });
    }
  }
  // What was made is where this server says, whoever the request says it is for.
  await each(
    world.operations.filter(({isSafe}) => !isSafe),
    async (operation) => {
      const request = await world.prepare(operation);
      const {headers: credential} = world.allowed(operation);
      for (const host of HOSTS.slice(0, 1)) {
        await tally.attempt(`${operation.key} of ${host}`, async () => {
          const json = request.json === undefined ? undefined : JSON.stringify(request.json);
          const fields = fieldsOf({
            ...credential,
            ...(json !== undefined && {'content-type': 'application/json'}),
            ...request.headers,
            'x-forwarded-host': host,
            'x-original-url': `//${host}/`,
            'x-rewrite-url': `//${host}/`,
          });
          const answer = await ask(world.url, {method: operation.method, target: request.target, fields, body: json});
          return leaves(world, answer, world.url);
        });
      }
    },
  );
}
