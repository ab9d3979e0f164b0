// Traces as float32 (api-docs/traces-binary.md): all that drawing needs, and no text to make and to read.

const HEAD_BYTES = 4;

/** The answer as JSON would give it, from an ArrayBuffer: a missing sample is null. */
export function readTraces(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const answer = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, HEAD_BYTES, length)));
  const numbers = (trace, at) =>
    Array.from(new Float32Array(buffer, HEAD_BYTES + length + at, trace.count), (value) =>
      Number.isNaN(value) ? null : value,
    );
  for (const trace of answer.traces) {
    if (trace.bin_s === undefined) {
      trace.samples = numbers(trace, trace.samples_at);
    } else {
      trace.min = numbers(trace, trace.min_at);
      trace.max = numbers(trace, trace.max_at);
    }
  }
  return answer;
}
