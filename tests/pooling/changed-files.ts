/** How a clinic's import files are changed on their way into its store. */
export type FileChange = (text: string, name: string) => string;

/** Consent to pooling taken back by these patients. */
export function withoutConsents(codes: readonly string[]): FileChange {
  return (text, name) =>
    name === 'patients.csv'
      ? text.replace(new RegExp(`^((?:${codes.join('|')}),.*),yes(\\r?)$`, 'gm'), '$1,no$2')
      : text;
}

/** The readings of one measure of a patient moved by some millimetres. */
export function otherValues(code: string, by: number): FileChange {
  const line = new RegExp(`^(${code},[^,]*,[^,]*,[^,]*,Co-Gn),([0-9.]+),`, 'gm');
  return (text, name) =>
    name === 'measurements.csv'
      ? text.replace(
          line,
          (_all, start: string, value: string) => `${start},${(Number(value) + by).toFixed(1)},`,
        )
      : text;
}
