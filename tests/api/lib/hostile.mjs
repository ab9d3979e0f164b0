// Bytes that unpack to more than anyone wants, and files whose header says what is not true.
import zlib from 'node:zlib';

const MIB = 1024 * 1024;

/** `unit` between `before` and `after`, as often as all of it fits `size` bytes. Texts are Latin-1. */
export function filled(before, unit, after, size) {
  const [first, middle, last] = [before, unit, after].map((part) => Buffer.from(part, 'latin1'));
  const times = Math.floor((size - first.length - last.length) / middle.length);
  return Buffer.concat([first, Buffer.alloc(times * middle.length, middle), last]);
}

/** A gzip member of so many times 64 MiB of zeros. The deflated parts are the same bytes over and over, so
 * that no one has to compress all of it; the checksum at the end is not true, but nobody should get there. */
export function gzipOfZeros(times) {
  const part = zlib.deflateRawSync(Buffer.alloc(64 * MIB), {finishFlush: zlib.constants.Z_FULL_FLUSH, level: 9});
  const header = Buffer.from([0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255]);
  return Buffer.concat([header, ...Array(times).fill(part), Buffer.from([3, 0]), Buffer.alloc(8)]);
}

const ZSTD_MAGIC = Buffer.from([0x28, 0xb5, 0x2f, 0xfd]);

/** A block's header (RFC 8878, 3.1.1.2): 0 raw, 1 the next byte `size` times. */
function block(type, size, isLast) {
  const header = Buffer.alloc(3);
  header.writeUIntLE((size << 3) | (type << 1) | (isLast ? 1 : 0), 0, 3);
  return header;
}

/** A zstd frame with a window of 2^windowLog bytes and these blocks. */
export function zstdFrame(windowLog, blocks) {
  return Buffer.concat([ZSTD_MAGIC, Buffer.from([0, (windowLog - 10) << 3]), ...blocks]);
}

/** A zstd frame of so many times 128 KiB of zeros, four bytes each. */
export function zstdOfZeros(times) {
  const zeros = Buffer.concat([block(1, 128 * 1024, false), Buffer.from([0])]);
  return zstdFrame(17, [...Array(times).fill(zeros), block(0, 0, true)]);
}

/** Bytes as they are, in a zstd frame (of at most 128 KiB). */
export function zstdRaw(bytes, windowLog = 17) {
  return zstdFrame(windowLog, [block(0, bytes.length, true), bytes]);
}

/** Frames with nothing in them, in so many bytes. */
export const emptyFrames = {
  gzip: (size) => filled('', zlib.gzipSync(''), '', size),
  zstd: (size) => filled('', zstdRaw(Buffer.alloc(0)), '', size),
};

/** Header fields of EDF and how wide they are; those of `SIGNAL` come once a signal. */
const FIXED = {
  version: 8,
  patient: 80,
  recording: 80,
  startdate: 8,
  starttime: 8,
  header_bytes: 8,
  reserved: 44,
  record_count: 8,
  record_duration: 8,
  signal_count: 4,
};
const SIGNAL = {
  label: 16,
  transducer: 80,
  physical_dimension: 8,
  physical_minimum: 8,
  physical_maximum: 8,
  digital_minimum: 8,
  digital_maximum: 8,
  prefiltering: 80,
  samples_per_record: 8,
  signal_reserved: 32,
};

/** Where a fault in a field is named. */
export const edfPointer = (field) => (field in SIGNAL ? `/signals/0/${field}` : `/${field}`);

/** An EDF file of 3 records of 10 samples of each signal; `lies` are fields that say something else. */
export function edf(lies = {}, signalCount = 1) {
  const fields = {
    version: '0',
    patient: 'X X X X',
    recording: 'Startdate X X X X',
    startdate: '02.03.26',
    starttime: '09.31.05',
    header_bytes: String(256 * (signalCount + 1)),
    reserved: '',
    record_count: '3',
    record_duration: '1',
    signal_count: String(signalCount),
    label: 'Flow',
    transducer: '',
    physical_dimension: 'mL/s',
    physical_minimum: '0',
    physical_maximum: '100',
    digital_minimum: '0',
    digital_maximum: '1000',
    prefiltering: '',
    samples_per_record: '10',
    signal_reserved: '',
    ...lies,
  };
  const written = (widths, times) =>
    Object.entries(widths).map(([name, width]) => fields[name].padEnd(width).slice(0, width).repeat(times));
  const header = [...written(FIXED, 1), ...written(SIGNAL, signalCount)].join('');
  return Buffer.concat([Buffer.from(header, 'latin1'), Buffer.alloc(60 * signalCount)]);
}
