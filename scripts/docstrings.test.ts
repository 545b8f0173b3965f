import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import ts from 'typescript';

const CORE = 'packages/core/src';
const FILES = readdirSync(CORE, { recursive: true, encoding: 'utf8' })
  .filter((file) => file.endsWith('.ts'))
  .map((file) => join(CORE, file))
  .filter((file) => !/\.(test|fixture)\.ts$/.test(file) && !file.endsWith('index.ts'));

/** What a file exports without saying what it is: `file: name`. */
function undocumented(file: string): string[] {
  const source = ts.createSourceFile(file, readFileSync(file, 'utf8'), ts.ScriptTarget.Latest, true);
  return source.statements.flatMap((statement) => {
    const modifiers = ts.canHaveModifiers(statement) ? (ts.getModifiers(statement) ?? []) : [];
    const exported = modifiers.some(({ kind }) => kind === ts.SyntaxKind.ExportKeyword);
    if (!exported || ts.getJSDocCommentsAndTags(statement).length > 0) return [];
    return namesOf(statement).map((name) => `${file}: ${name}`);
  });
}

/** Names of what a statement declares, where it must be documented: functions, classes and interfaces. */
function namesOf(statement: ts.Statement): string[] {
  const documented =
    ts.isFunctionDeclaration(statement) ||
    ts.isClassDeclaration(statement) ||
    ts.isInterfaceDeclaration(statement);
  return documented && statement.name !== undefined ? [statement.name.text] : [];
}

describe('the core', () => {
  it('documents every function, class and interface that it exports', () => {
    expect(FILES.length).toBeGreaterThan(100);
    expect(FILES.flatMap(undocumented)).toEqual([]);
  });
});
