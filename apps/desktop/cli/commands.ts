import type { Command } from './command';
import { computeCommand } from './compute-command';
import { demoCommand } from './demo-command';
import { importCommand } from './import-command';
import { poolCommand } from './pool-command';
import { reportCommand } from './report-command';
import { serveCommand } from './serve-command';

/** All commands, in the order in which a clinic meets them. */
export const COMMANDS: readonly Command[] = [
  importCommand,
  reportCommand,
  serveCommand,
  demoCommand,
  computeCommand,
  poolCommand,
];
