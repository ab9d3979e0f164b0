// An exam room that records: it opens a recording and sends it piece by piece. Every sample is a known
// function of its place, so that what a page draws can be compared with what was sent.

const RATE_HZ = 10;
export const PIECE_S = 3; // of the recording in each piece

const VALUE_AT = {
  pves: (t) => 20 + t / 10 + 5 * Math.sin(t / 4),
  pabd: (t) => 15 + 4 * Math.sin(t / 4 + 0.2),
  flow: (t) => Math.max(0, 20 * Math.sin((t - 30) / 12)),
  vinf: (t) => t,
};
const UNIT = {pves: 'cm[H2O]', pabd: 'cm[H2O]', flow: 'mL/s', vinf: 'mL'};

export const SIGNALS = Object.keys(VALUE_AT);

const samplesFrom = (signal, first, count) =>
  Array.from({length: count}, (_, index) => Number(VALUE_AT[signal]((first + index) / RATE_HZ).toFixed(2)));

export class RoomRecording {
  static async open(person, study, fields = {}) {
    const recording = new RoomRecording();
    recording.person = person;
    recording.sent = new Set();
    const opened = await person.ask('POST', '/v1/recordings', {
      study_id: study.id,
      type: 'pressure_flow',
      started_at: study.started_at,
      channels: SIGNALS.map((signal) => ({signal, unit: UNIT[signal], rate_hz: RATE_HZ, start_s: 0})),
      ...fields,
    });
    recording.id = opened.id;
    return recording;
  }

  get path() {
    return `/v1/recordings/${this.id}`;
  }

  async send(number, events = []) {
    const count = PIECE_S * RATE_HZ;
    const first = number * count;
    const channels = SIGNALS.map((signal) => ({signal, first, samples: samplesFrom(signal, first, count)}));
    await this.person.ask('PUT', `${this.path}/chunks/${number}`, {channels, events});
    this.sent.add(number);
  }

  async complete(acceptGaps = false) {
    return this.person.ask('POST', `${this.path}/completion`, {chunks: Math.max(...this.sent) + 1, accept_gaps: acceptGaps});
  }

  /** Everything that was sent of a signal; null where nothing came. */
  expected(signal) {
    const count = PIECE_S * RATE_HZ;
    return Array.from({length: Math.max(...this.sent) + 1}, (_, number) =>
      this.sent.has(number) ? samplesFrom(signal, number * count, count) : new Array(count).fill(null),
    ).flat();
  }

  async withdraw(reason) {
    const {version} = await this.person.ask('GET', this.path);
    return this.person.ask('POST', `${this.path}/withdrawal`, {reason}, {'if-match': `"${version}"`});
  }
}
