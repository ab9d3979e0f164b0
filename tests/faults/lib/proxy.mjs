// A TCP proxy that does to connections what bad networks do. It knows of HTTP no more than where a
// message ends, so that a fault can strike at any byte of it.
import {once} from 'node:events';
import net from 'node:net';

const HEAD_END = Buffer.from('\r\n\r\n');
const LATER_MS = 300; // until the other side of a cut connection ends, at most
const PAUSE_MS = 400;

/** What can happen to a connection, and how often in a hundred. */
const FAULTS = {
  none: 28,
  /** Both sides end within the request. */
  cut_request: 14,
  /** The server's side ends within the request, the client's a little later. */
  cut_server_first: 10,
  /** The client's side ends within the request, the server's a little later. */
  cut_client_first: 10,
  /** Both sides end within the answer, of which a part has reached the client. */
  cut_answer: 8,
  /** The server has answered in full, and the client gets not one byte of it. */
  cut_unseen: 12,
  /** Nothing goes on for a while, within the request. */
  delay_request: 6,
  /** The same within the answer. */
  delay_answer: 4,
  /** The bytes of the request come again on another connection, while the first is being served or
   * after it was. */
  duplicate: 8,
};

/** Bytes of a message whose beginning is `bytes`, or undefined while its head is incomplete. */
function lengthOf(bytes) {
  const end = bytes.indexOf(HEAD_END);
  if (end < 0) {
    return undefined;
  }
  const length = /^content-length: *(\d+)\r?$/im.exec(bytes.subarray(0, end).toString('latin1'));
  return end + HEAD_END.length + Number(length?.[1] ?? 0);
}

/** One direction: what has come, how much of it was passed on, and where it is to stop. */
class Stream {
  constructor(from, to) {
    Object.assign(this, {from, to, bytes: Buffer.alloc(0), passed: 0, limit: Infinity, isPaused: false});
  }

  take(data) {
    this.bytes = Buffer.concat([this.bytes, data]);
    this.length ??= lengthOf(this.bytes);
  }

  pass() {
    const end = Math.min(this.bytes.length, this.limit);
    if (!this.isPaused && end > this.passed && !this.to.destroyed) {
      this.to.write(this.bytes.subarray(this.passed, end));
      this.passed = end;
    }
  }

  get isComplete() {
    return this.length !== undefined && this.bytes.length >= this.length;
  }
}

export class Proxy {
  /** `target` gives the URL that connections go to at that moment. */
  static async open(random, target) {
    const proxy = new Proxy();
    Object.assign(proxy, {random, target, sockets: new Set(), connections: 0, replays: []});
    /** How often each fault really happened. */
    proxy.injected = Object.fromEntries(Object.keys(FAULTS).map((fault) => [fault, 0]));
    proxy.server = net.createServer({noDelay: true}, (socket) => proxy.accept(socket));
    proxy.server.listen(0, '127.0.0.1');
    await once(proxy.server, 'listening');
    proxy.url = `http://127.0.0.1:${proxy.server.address().port}`;
    return proxy;
  }

  /** Waits for the copies of requests that are under way, and ends what is open. */
  async close() {
    await Promise.all(this.replays);
    this.server.close();
    for (const socket of this.sockets) {
      socket.destroy();
    }
    await once(this.server, 'close');
  }

  connect() {
    const {hostname, port} = new URL(this.target());
    return this.keep(net.connect({host: hostname, port: Number(port), noDelay: true}));
  }

  keep(socket) {
    this.sockets.add(socket);
    socket.on('close', () => this.sockets.delete(socket));
    socket.on('error', () => {}); // cut connections are what this is about
    return socket;
  }

  chooseFault() {
    const faults = Object.entries(FAULTS);
    let drawn = this.random.between(0, faults.reduce((sum, [, share]) => sum + share, 0));
    return (faults.find(([, share]) => (drawn -= share) < 0) ?? faults[0])[0];
  }

  accept(client) {
    this.connections++;
    const server = this.connect();
    const plan = {
      fault: this.chooseFault(),
      at: this.random.next(),
      later_ms: this.random.between(0, LATER_MS),
      pause_ms: this.random.between(5, PAUSE_MS),
      resets: this.random.next() < 0.5,
      isDone: false,
    };
    const request = new Stream(this.keep(client), server);
    const answer = new Stream(server, client);
    client.on('data', (data) => {
      request.take(data);
      this.strikeRequest(plan, request, answer);
      request.pass();
      this.strikeAfterRequest(plan, request);
    });
    server.on('data', (data) => {
      answer.take(data);
      this.strikeAnswer(plan, request, answer);
      answer.pass();
    });
    for (const [one, other] of [
      [client, server],
      [server, client],
    ]) {
      one.on('end', () => plan.isDone || plan.pausing || other.end());
      one.on('close', () => plan.isDone || plan.pausing || other.destroy());
    }
  }

  /** Counts a fault that happens now. */
  strike(plan) {
    plan.isDone = true;
    this.injected[plan.fault]++;
  }

  end(plan, socket) {
    if (plan.resets) {
      socket.resetAndDestroy();
    } else {
      socket.destroy();
    }
  }

  /** At a byte of the request: never its last, without which it is not complete. */
  strikeRequest(plan, request, answer) {
    const isCut = ['cut_request', 'cut_server_first', 'cut_client_first'].includes(plan.fault);
    if (plan.isDone || request.length === undefined || !(isCut || plan.fault === 'delay_request')) {
      return;
    }
    request.limit = Math.floor(plan.at * request.length);
    if (request.bytes.length < request.limit) {
      return;
    }
    this.strike(plan);
    request.pass();
    if (isCut) {
      this.cut(plan, request, answer);
    } else {
      this.pause(plan, request);
    }
  }

  cut(plan, request, answer) {
    const [first, second] =
      plan.fault === 'cut_server_first' ? [request.to, request.from] : [request.from, request.to];
    answer.isPaused = true;
    // What was passed on gets its time to leave.
    setImmediate(() => {
      this.end(plan, first);
      setTimeout(() => this.end(plan, second), plan.fault === 'cut_request' ? 0 : plan.later_ms);
    });
  }

  pause(plan, stream) {
    stream.isPaused = true;
    plan.isDone = false;
    plan.pausing = true;
    setTimeout(() => {
      plan.fault = 'none';
      plan.pausing = false;
      Object.assign(stream, {isPaused: false, limit: Infinity});
      stream.pass();
      if (stream.from.readableEnded || stream.from.destroyed) {
        stream.to.end();
      }
    }, plan.pause_ms);
  }

  strikeAfterRequest(plan, request) {
    if (plan.isDone || plan.fault !== 'duplicate' || !request.isComplete) {
      return;
    }
    this.strike(plan);
    plan.isDone = false; // the connection itself goes on
    plan.fault = 'none';
    const wait_ms = plan.resets ? 0 : plan.pause_ms;
    this.replays.push(this.replay(request.bytes, wait_ms));
  }

  /** The same bytes again; nobody reads the answer. */
  async replay(bytes, wait_ms) {
    await new Promise((resolve) => setTimeout(resolve, wait_ms));
    const socket = this.connect();
    const answer = new Stream(socket, socket);
    await new Promise((resolve) => {
      socket.on('data', (data) => {
        answer.take(data);
        if (answer.isComplete) {
          resolve();
        }
      });
      socket.on('close', resolve);
      socket.write(bytes);
    });
    socket.destroy();
  }

  strikeAnswer(plan, request, answer) {
    if (plan.isDone || !['cut_answer', 'cut_unseen', 'delay_answer'].includes(plan.fault)) {
      return;
    }
    answer.limit = 0; // nothing reaches the client before the place is known
    if (plan.fault === 'cut_unseen' ? !answer.isComplete : answer.length === undefined) {
      return;
    }
    answer.limit = plan.fault === 'cut_unseen' ? 0 : Math.max(1, Math.floor(plan.at * answer.length));
    if (answer.bytes.length < answer.limit) {
      return;
    }
    this.strike(plan);
    answer.pass();
    if (plan.fault === 'delay_answer') {
      this.pause(plan, answer);
    } else {
      setImmediate(() => {
        this.end(plan, answer.to);
        this.end(plan, answer.from);
      });
    }
  }
}
