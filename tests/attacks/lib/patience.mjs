// Few passwords are hashed at a time, and whoever asks for more is told to come again.

const TRIES = 50;
const PAUSE_MS = 100;

export const isBusy = (answer) => answer?.status === 503;

/** Runs `act` again while its answer says that the server is busy. */
export async function patiently(act, busy) {
  for (let attempt = 1; ; attempt++) {
    const answer = await act();
    if (attempt === TRIES || !busy(answer)) {
      return answer;
    }
    await new Promise((resolve) => setTimeout(resolve, PAUSE_MS));
  }
}
