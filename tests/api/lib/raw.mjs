// Sockets without a client library in between, for what such a library would not send.
import {once} from 'node:events';
import net from 'node:net';

const PATIENCE_MS = 30_000;

function open(url) {
  const {hostname, port} = new URL(url);
  return net.connect({host: hostname, port: Number(port)});
}

/** A request's head as text; `fields` are complete header lines. */
export function head(url, method, target, fields = []) {
  return [`${method} ${target} HTTP/1.1`, `Host: ${new URL(url).host}`, ...fields, '', ''].join('\r\n');
}

/** The first answer in what a socket gave, with a body as long as Content-Length says. */
export function parseAnswer(bytes) {
  const end = bytes.indexOf('\r\n\r\n');
  if (end < 0) {
    return undefined;
  }
  const [statusLine, ...lines] = bytes.subarray(0, end).toString('latin1').split('\r\n');
  const headers = new Headers(
    lines.map((line) => [line.slice(0, line.indexOf(':')), line.slice(line.indexOf(':') + 1).trim()]),
  );
  const body = bytes.subarray(end + 4);
  return {status: Number(statusLine.split(' ')[1]), headers, body, text: body.toString('utf8')};
}

function isComplete(answer) {
  const length = answer?.headers.get('content-length');
  return answer !== undefined && answer.status >= 200 && length !== null && answer.body.length >= Number(length);
}

function gather(socket) {
  const gathered = {bytes: Buffer.alloc(0), answer: () => parseAnswer(gathered.bytes)};
  socket.on('data', (data) => {
    gathered.bytes = Buffer.concat([gathered.bytes, data]);
  });
  socket.on('error', () => {}); // a reset is one of the answers that the tests look for
  return gathered;
}

/** Sends `content` and waits for one complete answer, or for the end of the connection; undefined when
 * it ended without. */
export async function exchange(url, content) {
  const socket = open(url);
  const gathered = gather(socket);
  socket.write(content);
  await untilAnswered(socket, gathered);
  socket.destroy();
  return gathered.answer();
}

function untilAnswered(socket, gathered) {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error('no answer')), PATIENCE_MS);
    const end = () => {
      clearTimeout(timer);
      resolve();
    };
    socket.on('close', end);
    socket.on('data', () => isComplete(gathered.answer()) && end());
  });
}

/** Sends a head and then a body for as long as the server takes it, at most `limit` bytes; how many
 * bytes went out. Whether an answer is seen is left to chance: a reset may overtake it. */
export async function flood(url, headText, limit, chunk = Buffer.alloc(65536, 0x20)) {
  const socket = open(url);
  const gathered = gather(socket);
  let isOver = false;
  const over = untilAnswered(socket, gathered).then(() => {
    isOver = true;
  });
  socket.write(headText);
  let sent = 0;
  while (!isOver && sent < limit) {
    if (!socket.write(chunk)) {
      await Promise.race([once(socket, 'drain').catch(() => {}), over]);
    }
    await new Promise(setImmediate);
    sent = socket.bytesWritten - socket.writableLength;
  }
  socket.destroy();
  await over;
  return {sent};
}

/** Sends bytes and closes the connection without waiting. */
export async function abandon(url, content) {
  const socket = open(url);
  gather(socket);
  await new Promise((resolve) => socket.write(content, resolve));
  socket.destroy();
  await once(socket, 'close');
}
