import { promisify } from 'node:util';
import { gzip } from 'node:zlib';
import {
  PROCEDURES,
  PROTOCOL_HEADER,
  PROTOCOL_VERSION,
  refusalBodySchema,
  refusalCodeSchema,
  type ProcedureAnswer,
  type ProcedureInput,
  type ProcedureName,
  type RefusalCode,
} from '@longhold/core/exchange';
import { z } from 'zod';

/** A request that has no answer after this long counts as lost; sending it again is safe. */
const TIMEOUT_MILLISECONDS = 60_000;
/** Bodies larger than this are worth compressing. */
const COMPRESSED_FROM_BYTES = 1_000;
/** No answer of the protocol is larger. */
const LARGEST_ANSWER_BYTES = 64 * 1024 * 1024;

const compress = promisify(gzip);
const successSchema = z.object({ result: z.object({ data: z.unknown() }) });

/** The service refused, or gave no answer that the protocol has. The message may be shown. */
export class ServiceFault extends Error {
  readonly code: RefusalCode | 'unreachable';

  constructor(code: RefusalCode | 'unreachable', message: string) {
    super(message);
    this.name = 'ServiceFault';
    this.code = code;
  }
}

/** Asks the pooling service. Nothing but the input, the token and the protocol's version is in a request. */
export interface ServiceClient {
  /** @throws ServiceFault */
  ask<Name extends ProcedureName>(
    name: Name,
    input: ProcedureInput<Name>,
    stop?: AbortSignal,
  ): Promise<ProcedureAnswer<Name>>;
}

/** The schema of a procedure's answer with its type; the table of procedures is typed by name. */
const ANSWERS: { readonly [Name in ProcedureName]: z.ZodType<ProcedureAnswer<Name>> } = {
  protocol: PROCEDURES.protocol.answer,
  enrol: PROCEDURES.enrol.answer,
  session: PROCEDURES.session.answer,
  rotateToken: PROCEDURES.rotateToken.answer,
  devices: PROCEDURES.devices.answer,
  revoke: PROCEDURES.revoke.answer,
  removeMember: PROCEDURES.removeMember.answer,
  invite: PROCEDURES.invite.answer,
  definition: PROCEDURES.definition.answer,
  publish: PROCEDURES.publish.answer,
  push: PROCEDURES.push.answer,
  pull: PROCEDURES.pull.answer,
  sheet: PROCEDURES.sheet.answer,
  statistics: PROCEDURES.statistics.answer,
  pooled: PROCEDURES.pooled.answer,
  audit: PROCEDURES.audit.answer,
};

/**
 * A client of the service at an address, for one device.
 * @param token null for what anyone may ask
 */
export function serviceClient(address: string, token: string | null): ServiceClient {
  return { ask };

  async function ask<Name extends ProcedureName>(
    name: Name,
    input: ProcedureInput<Name>,
    stop?: AbortSignal,
  ): Promise<ProcedureAnswer<Name>> {
    const reply = await post(`${address}/rpc/${name}`, input, token, stop);
    const content = readJson(reply.text);
    const success = successSchema.safeParse(content);
    if (!reply.ok || !success.success) throw refusalOf(content, reply.status);
    const schema: z.ZodType<ProcedureAnswer<Name>> = ANSWERS[name];
    const answer = schema.safeParse(success.data.result.data);
    if (answer.success) return answer.data;
    throw new ServiceFault(
      'unreachable',
      `The service answered "${name}" in a form that this program does not know. Update this program, or ask whoever runs the service.`,
    );
  }
}

interface Reply {
  readonly ok: boolean;
  readonly status: number;
  readonly text: string;
}

async function post(
  url: string,
  input: unknown,
  token: string | null,
  stop: AbortSignal | undefined,
): Promise<Reply> {
  const plain = Buffer.from(JSON.stringify(input), 'utf8');
  const packed = plain.length > COMPRESSED_FROM_BYTES;
  const timeout = AbortSignal.timeout(TIMEOUT_MILLISECONDS);
  try {
    const response = await fetch(url, {
      method: 'POST',
      headers: {
        'content-type': 'application/json',
        [PROTOCOL_HEADER]: String(PROTOCOL_VERSION),
        ...(packed ? { 'content-encoding': 'gzip' } : {}),
        ...(token === null ? {} : { authorization: `Bearer ${token}` }),
      },
      body: packed ? await compress(plain) : plain,
      signal: stop === undefined ? timeout : whicheverFirst(timeout, stop),
      // A service never sends a client elsewhere; following could take records and token to another host.
      redirect: 'error',
    });
    return { ok: response.ok, status: response.status, text: await boundedText(response) };
  } catch (thrown) {
    if (thrown instanceof ServiceFault) throw thrown;
    throw unreachable(thrown);
  }
}

/** A signal that stops with the first of two. `AbortSignal.any` is younger than some windows that the program runs in. */
function whicheverFirst(one: AbortSignal, other: AbortSignal): AbortSignal {
  const both = new AbortController();
  for (const signal of [one, other]) {
    if (signal.aborted) both.abort(signal.reason);
    signal.addEventListener('abort', () => both.abort(signal.reason), { once: true, signal: both.signal });
  }
  return both.signal;
}

/** The body as text; a service gone mad can't fill this computer's memory. */
async function boundedText(response: Response): Promise<string> {
  const decoder = new TextDecoder();
  let text = '';
  let bytes = 0;
  for await (const chunk of chunksOf(response)) {
    bytes += chunk.byteLength;
    if (bytes > LARGEST_ANSWER_BYTES) {
      throw new ServiceFault('unreachable', 'The service sent more than any answer of the protocol holds.');
    }
    text += decoder.decode(chunk, { stream: true });
  }
  return text + decoder.decode();
}

async function* chunksOf({ body }: Response): AsyncGenerator<Uint8Array> {
  if (body === null) return;
  const reader = body.getReader();
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    yield value;
  }
}

function unreachable(thrown: unknown): ServiceFault {
  const why = causeOf(thrown);
  return new ServiceFault(
    'unreachable',
    `The pooling service gave no answer (${why}). Check the network and the address; nothing is lost, what waits is sent at the next occasion.`,
  );
}

/** Codes of the system only: messages of libraries may quote what was sent. */
function causeOf(thrown: unknown): string {
  const name: unknown = Reflect.get(Object(thrown), 'name');
  if (name === 'TimeoutError') return 'it took too long';
  if (name === 'AbortError') return 'stopped';
  const code: unknown = Reflect.get(Object(Reflect.get(Object(thrown), 'cause')), 'code');
  return typeof code === 'string' ? code : 'connection failed';
}

function readJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** What to do is added to what the service says, where this program knows better. */
const ADVICE: Partial<Record<RefusalCode, string>> = {
  'protocol-too-old': 'This program is older than the service allows. Update it; what waits is kept.',
  'protocol-too-new':
    'The service is older than this program. Ask whoever runs it to update it; what waits is kept.',
  revoked:
    'This desktop has lost its access. Ask for a new enrolment code and link anew; nothing here is lost.',
  'mixed-contribution':
    'Under "What your clinic sends" choose the way that the clinic sends by, or change over, which takes out what is there.',
  'statistics-conflict':
    'Look at what would leave now: if the statistics of this desktop are the right ones, send them in place of the others.',
  'not-signed-in': 'This desktop is not known there any more. Ask for a new enrolment code and link anew.',
};

function refusalOf(content: unknown, status: number): ServiceFault {
  const body = refusalBodySchema.safeParse(content);
  const code = body.success ? refusalCodeSchema.safeParse(body.data.error.data.reason) : null;
  if (!body.success || code === null || !code.success) {
    return new ServiceFault(
      'unreachable',
      `What answers at this address is not a pooling service that this program understands (status ${status}).`,
    );
  }
  const advice = ADVICE[code.data];
  const message = body.data.error.message.slice(0, 2_000);
  return new ServiceFault(code.data, advice === undefined ? message : `${message} ${advice}`);
}
