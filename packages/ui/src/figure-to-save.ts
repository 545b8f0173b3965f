/** How a figure is saved: the name of its files, the note under it, its numbers, and who writes the file. */
export interface FigureToSave {
  /** Without an ending: `Co-Gn-retained-share`. */
  readonly name: string;
  /** Question, records, program and version in one line. */
  readonly note: string;
  /** The table of the figure as comma-separated text; left out where it has none. */
  readonly csv?: () => string;
  readonly onfile: (name: string, content: Blob) => void;
}
