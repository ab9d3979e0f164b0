// Few passwords are hashed at a time, and whoever asks for more is told to come again.

const TRIES = 50;
const PAUSE_MS = 100;

export const isBusy = (answer) => answer?.status === 503;
/** The same of what a client threw that had expected something else. */
export const isBusyError = (error) => /: 503\b/.test(error?.message ?? '');

/** Runs `act` again while its answer, or its error, says that the server is busy. */
export async function patiently(act, busy) {
  for (let attempt = 1; ; attempt++) {
    let outcome;
    try {
      outcome = {answer: await act()};
    } catch (error) {
      outcome = {error};
    }
    if (attempt === TRIES || !busy(outcome.error ?? outcome.answer)) {
      if (outcome.error) throw outcome.error;
      return outcome.answer;
    }
    await new Promise((resolve) => setTimeout(resolve, PAUSE_MS));
  }
}
