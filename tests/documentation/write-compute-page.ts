import { writeFileSync } from 'node:fs';
import { computePage } from './compute-page';

writeFileSync('docs/compute.md', computePage());
