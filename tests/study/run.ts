import { writeFileSync } from 'node:fs';
import { createRandom } from '@longhold/core/numeric';
import { AGREEMENT_COVERAGE } from './agreement-coverage';
import { COMPETING_EVENTS_COVERAGE } from './competing-events-coverage';
import type { CoverageStudy, Outcome } from './coverage-study';
import { COX_COVERAGE } from './cox-coverage';
import { INTERVAL_CENSORED_COVERAGE } from './interval-censored-coverage';
import { MIXED_COVERAGE } from './mixed-coverage';
import { POOLING_COVERAGE } from './pooling-coverage';
import { RATIO_COVERAGE } from './ratio-coverage';
import { RIGHT_CENSORED_COVERAGE } from './right-censored-coverage';

const SEED = 20261125;

const CHAPTERS: readonly { readonly title: string; readonly studies: readonly CoverageStudy[] }[] = [
  { title: 'Survival, right-censored and left-truncated', studies: RIGHT_CENSORED_COVERAGE },
  { title: 'Cox regression', studies: COX_COVERAGE },
  { title: 'Survival, interval-censored', studies: INTERVAL_CENSORED_COVERAGE },
  { title: 'Competing events', studies: COMPETING_EVENTS_COVERAGE },
  { title: 'Linear mixed models', studies: MIXED_COVERAGE },
  { title: 'Pooling of studies', studies: POOLING_COVERAGE },
  { title: 'Agreement and method error', studies: AGREEMENT_COVERAGE },
  { title: 'Ratio of means', studies: RATIO_COVERAGE },
];

/** Runs one study; every study has its own stream, so that adding one changes no other. */
function runStudy(study: CoverageStudy): Record<Outcome, number> {
  const counts = { covered: 0, 'truth-below': 0, 'truth-above': 0, undefined: 0 };
  for (let replicate = 0; replicate < study.replicates; replicate++) {
    counts[study.trial(createRandom(SEED + replicate))]++;
  }
  return counts;
}

function row(study: CoverageStudy): string {
  const counts = runStudy(study);
  const given = study.replicates - counts.undefined;
  const share = counts.covered / given;
  const noise = Math.sqrt((study.level * (1 - study.level)) / given);
  const percent = (value: number): string => `${(100 * value).toFixed(1)}`;
  const cells = [
    study.interval,
    study.situation,
    `${percent(study.level)}`,
    `**${percent(share)}**`,
    `${percent(counts['truth-below'] / given)} / ${percent(counts['truth-above'] / given)}`,
    `${percent(1.96 * noise)}`,
    `${study.replicates}`,
    `${counts.undefined}`,
  ];
  const line = `| ${cells.join(' | ')} |`;
  console.log(line);
  return line;
}

const HEADER = [
  '| interval | situation | claimed, % | covered, % | truth below / above, % | noise, ± % | samples | no interval |',
  '| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: |',
];

const only = process.argv[2];
const sections = CHAPTERS.filter(({ title }) => only === undefined || title.includes(only)).flatMap(
  ({ title, studies }) => [`## ${title}`, '', ...HEADER, ...studies.map(row), ''],
);
if (only === undefined) {
  const preface = [
    '# Do the intervals cover as often as they claim?',
    '',
    `Made by \`npm run study\` on ${new Date().toISOString().slice(0, 10)}, seed ${SEED}, Node ${process.version}. Every sample is invented, with the truth known.`,
    '',
  ];
  writeFileSync('docs/validation.md', [...preface, ...sections].join('\n'));
}
