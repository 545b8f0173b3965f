import { readFileSync, writeFileSync } from 'node:fs';
import { resultsFields } from './results-fields';

const PAGE = 'docs/report.md';

const lines = readFileSync(PAGE, 'utf8').split('\n');
const isRow = (line: string): boolean => line.startsWith('| `');
const first = lines.findIndex(isRow);
const rows = resultsFields().map(({ path, description }) => `| \`${path}\` | ${description} |`);
const rest = lines.slice(first).filter((line) => !isRow(line));
writeFileSync(PAGE, [...lines.slice(0, first), ...rows, ...rest].join('\n'));
