// Requests as bytes, and all that comes back, for what no client library would send or show.
import {once} from 'node:events';
import net from 'node:net';
import {isBusy, patiently} from './patience.mjs';

const PATIENCE_MS = 20_000;

/** Sends bytes and gathers everything until the server closes; the request should ask it to. */
export async function sendBytes(url, bytes) {
  const {hostname, port} = new URL(url);
  const socket = net.connect({host: hostname, port: Number(port)});
  const parts = [];
  socket.on('data', (part) => parts.push(part));
  socket.on('error', () => {}); // a reset is an answer too
  socket.setTimeout(PATIENCE_MS, () => socket.destroy(new Error('no answer')));
  socket.write(bytes);
  await once(socket, 'close');
  return Buffer.concat(parts);
}

/** A request as bytes, whose fields are taken as they are. `fields` are [name, value] pairs; texts that
 * have characters above U+00FF go out as UTF-8, others as Latin-1. */
export function requestBytes(url, {method, target, fields = [], body}) {
  const content = body === undefined ? undefined : Buffer.from(body);
  const all = [
    ['Host', new URL(url).host],
    ...fields,
    ['Connection', 'close'],
    ...(content === undefined ? [] : [['Content-Length', String(content.length)]]),
  ];
  const head = [`${method} ${target} HTTP/1.1`, ...all.map((field) => field.join(': ')), '', ''].join('\r\n');
  const isWide = /[^\0-\xff]/.test(head);
  return Buffer.concat([Buffer.from(head, isWide ? 'utf8' : 'latin1'), content ?? Buffer.alloc(0)]);
}

/** The first answer in what came: status, header fields as [name, value], body, and whether its head has a
 * line break of its own or something follows the body. */
export function readAnswer(bytes) {
  const end = bytes.indexOf('\r\n\r\n');
  if (end < 0) {
    return undefined;
  }
  const [statusLine, ...lines] = bytes.subarray(0, end).toString('latin1').split('\r\n');
  const fields = lines.map((line) => [line.slice(0, line.indexOf(':')).toLowerCase(), line.slice(line.indexOf(':') + 1).trim()]);
  const body = bytes.subarray(end + 4);
  const length = fields.find(([name]) => name === 'content-length')?.[1];
  return {
    status: Number(statusLine.split(' ')[1]),
    fields,
    header: (name) => fields.find(([one]) => one === name)?.[1],
    body,
    text: body.toString('utf8'),
    isBroken: lines.some((line) => /[\r\n\0]/.test(line) || !line.includes(':')),
    hasMore: length !== undefined && body.length > Number(length),
  };
}

/** The answer to a request that is sent as bytes; undefined when the connection ended without one. */
export const ask = (url, request) =>
  patiently(async () => readAnswer(await sendBytes(url, requestBytes(url, request))), isBusy);

export const fieldsOf = (headers) => Object.entries(headers ?? {});
