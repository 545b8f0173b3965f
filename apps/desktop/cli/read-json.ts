// Its main entry is a module that bundlers can't follow.
import { parseTree, visit, type ParseError } from 'jsonc-parser/lib/esm/main.js';
import { CommandFault, EXIT } from './command-fault';

/**
 * A JSON text as a value.
 * @throws CommandFault that names the line, where the text is not JSON, or where a key stands twice in one object:
 *   the later one would silently win
 */
export function readJson(text: string): unknown {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (thrown) {
    const reason = thrown instanceof Error ? thrown.message : String(thrown);
    throw notJson(`line ${lineAt(text, faultOffset(text))}: ${reason}. ${HINT}`);
  }
  const twice = keyGivenTwice(text);
  if (twice !== null)
    throw notJson(`line ${lineAt(text, twice.offset)}: the key "${twice.key}" stands there again.`);
  return value;
}

const HINT = "JSON has no NaN and no Infinity; the method's schema says where null is right";

function notJson(message: string): CommandFault {
  return new CommandFault(EXIT.faultsInInput, `not-json:\n${message}`);
}

/** Where another, forgiving parser first stumbles; the end of the text where it does not. */
function faultOffset(text: string): number {
  const errors: ParseError[] = [];
  parseTree(text, errors, { disallowComments: true });
  return errors[0]?.offset ?? text.length;
}

function keyGivenTwice(text: string): { readonly key: string; readonly offset: number } | null {
  const open: Set<string>[] = [];
  let twice: { key: string; offset: number } | null = null;
  visit(text, {
    onObjectBegin: () => void open.push(new Set()),
    onObjectEnd: () => void open.pop(),
    onObjectProperty: (key, offset) => {
      const keys = open.at(-1);
      if (keys?.has(key) === true) twice ??= { key, offset };
      keys?.add(key);
    },
  });
  return twice;
}

function lineAt(text: string, offset: number): number {
  return text.slice(0, offset).split('\n').length;
}
