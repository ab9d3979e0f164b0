// The form of tokens and links, by api-docs/README.md and not by the server.
import {randomBytes} from 'node:crypto';

/** CRC-32 of a text in eight hexadecimal digits: RFC 1952, section 8, bit by bit. */
export function checksum(text) {
  let crc = 0xffffffff;
  for (const byte of Buffer.from(text)) {
    crc ^= byte;
    for (let i = 0; i < 8; i++) {
      crc = (crc >>> 1) ^ (crc & 1 ? 0xedb88320 : 0);
    }
  }
  return (~crc >>> 0).toString(16).padStart(8, '0');
}

/** A secret of the right form that nobody was given. */
export function forged(mark) {
  const text = `${mark}${randomBytes(32).toString('base64url')}`;
  return text + checksum(text);
}
