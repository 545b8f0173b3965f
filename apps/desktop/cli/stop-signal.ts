const SIGNALS = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const;

/**
 * Resolves when the user or the system asks this program to end. Repeated signals are swallowed from then on: a
 * package manager passes on what the terminal has sent already, and the ending must not be cut short by it.
 */
export function stopSignal(): Promise<void> {
  return new Promise((resolve) => {
    for (const signal of SIGNALS) process.on(signal, () => resolve());
  });
}
