import rateLimit from '@fastify/rate-limit';
import {
  BODY_LIMIT,
  PROCEDURES,
  PROTOCOL_HEADER,
  PROTOCOL_VERSION,
  tokenSchema,
  type ProcedureName,
} from '@longhold/core/exchange';
import { fastifyTRPCPlugin, type FastifyTRPCPluginOptions } from '@trpc/server/adapters/fastify';
import fastify, { type FastifyInstance, type FastifyReply, type FastifyRequest } from 'fastify';
import { Pool } from '../pool/pool';
import type { DeviceRow } from '../store/sync-store';
import { StoreError } from '../store/store-error';
import { signIn } from '../study/caller';
import { Refusal, toRefusal } from '../study/refusal';
import { decompressed, tooLarge } from './body';
import { Metrics } from './metrics';
import type { ServiceOptions } from './options';
import { servePush } from './push-route';
import { isProcedure, OLDEST_PROTOCOL, syncRouter } from './router';
import { noSuchProcedure, refusalBody, refusalOf, statusOf, type RequestContext } from './trpc';

const PREFIX = '/rpc';
/** A request that has not come in whole after so many milliseconds is cut off, however slowly it goes on. */
const REQUEST_TIMEOUT = 120_000;
/** Those that are late are looked for four times within that. */
const LOOKS = 4;

/** Procedures after which statistics of a centre may have to be made anew. */
const CHANGING: ReadonlySet<string> = new Set<ProcedureName>(['publish', 'push', 'sheet', 'statistics']);

/** What is known of a request once its head was read. */
interface RequestState {
  device: DeviceRow | null;
  procedure: string;
  outcome: string;
  readonly began: bigint;
}

/** The service as a server that is not listening yet. */
export async function createService(options: ServiceOptions): Promise<FastifyInstance> {
  const { store, now, log, tls } = options;
  const pool = new Pool(store, options.computer, log, options.quiet);
  const states = new WeakMap<FastifyRequest, RequestState>();
  const stateOf = (request: FastifyRequest): RequestState => {
    const known = states.get(request);
    if (known !== undefined) return known;
    const state = { device: null, procedure: 'none', outcome: 'ok', began: process.hrtime.bigint() };
    states.set(request, state);
    return state;
  };
  const metrics = new Metrics();
  const requestTimeout = options.requestTimeout ?? REQUEST_TIMEOUT;
  const timeouts = {
    headersTimeout: requestTimeout / 2,
    connectionsCheckingInterval: requestTimeout / LOOKS,
  };
  const server: FastifyInstance = fastify({
    ...(tls === null
      ? { http: timeouts }
      : { https: { ...timeouts, cert: tls.certificate, key: tls.key, minVersion: 'TLSv1.2' } }),
    logger: false,
    bodyLimit: BODY_LIMIT,
    requestTimeout,
    // One proxy: the address that it saw is the last of the header; those before it anybody can make up.
    trustProxy: options.trustProxy ? (_address, hop) => hop === 0 : false,
    forceCloseConnections: 'idle',
  });

  server.setErrorHandler((thrown, request, reply) => {
    const refusal = refusalOfHttp(thrown);
    stateOf(request).outcome = refusal.code;
    noteFault(options, thrown);
    return refuse(reply, refusal);
  });
  server.setNotFoundHandler((request, reply) => {
    stateOf(request).outcome = 'not-found';
    return refuse(reply, noSuchProcedure());
  });
  server.addHook('onResponse', async (request, reply) => {
    const { procedure, outcome, began } = stateOf(request);
    if (outcome === 'ok' && CHANGING.has(procedure)) pool.prepareSoon();
    const seconds = Number(process.hrtime.bigint() - began) / 1e9;
    metrics.count(procedure, outcome, seconds);
    if (procedure === 'none' && outcome === 'ok') return;
    const milliseconds = Math.round(seconds * 1000);
    log.info('answered', { procedure, outcome, status: reply.statusCode, milliseconds });
  });

  // Before the server waits for those who are still asking.
  server.addHook('preClose', () => pool.stop());
  server.addHook('onClose', () => options.unpacker.stop());

  server.get('/healthz', async (_request, reply) => {
    await store.read((reader) => reader.study());
    return reply.type('text/plain').send('ok\n');
  });
  server.get('/metrics', async (_request, reply) =>
    reply.type('text/plain; version=0.0.4').send(metrics.text()),
  );

  await server.register(async (rpc) => {
    rpc.addHook('onRequest', async (request) => {
      stateOf(request).procedure = procedureOf(request);
    });
    await limitRates(rpc, options);
    // Before the body is read: a stranger cannot make the service read or unpack anything.
    rpc.addHook('onRequest', async (request, reply) => {
      reply.header('cache-control', 'no-store');
      const state = stateOf(request);
      if (request.method !== 'POST' || state.procedure === 'none') throw noSuchProcedure();
      requireProtocol(request.headers[PROTOCOL_HEADER]);
      if (isOpen(state.procedure)) return;
      state.device = await signIn(store, tokenOf(request.headers.authorization));
    });
    rpc.addHook('preParsing', async (request, _reply, payload) =>
      decompressed(payload, request.headers['content-encoding']),
    );
    await rpc.register(async (own) => {
      servePush(own, `${PREFIX}/push`, { ...options, deviceOf: (request) => stateOf(request).device });
    });
    await rpc.register(fastifyTRPCPlugin, {
      prefix: PREFIX,
      trpcOptions: {
        router: syncRouter,
        allowBatching: false,
        createContext: ({ req }): RequestContext => ({ store, now, pool, device: stateOf(req).device }),
        responseMeta: ({ errors }) => {
          const [error] = errors;
          return error === undefined ? {} : { status: statusOf(refusalOf(error).code) };
        },
        onError: ({ error, req }) => {
          stateOf(req).outcome = refusalOf(error).code;
          noteFault(options, error.cause ?? error);
        },
      },
    } satisfies FastifyTRPCPluginOptions<typeof syncRouter>);
  });
  return server;
}

async function limitRates(rpc: FastifyInstance, options: ServiceOptions): Promise<void> {
  const tooMany = (): Refusal =>
    new Refusal(
      'too-many-requests',
      'Too many requests from this address. Wait a minute, then go on more slowly.',
    );
  await rpc.register(rateLimit, {
    timeWindow: 60_000,
    max: (request) =>
      procedureOf(request) === 'enrol' ? options.enrolmentsAMinute : options.requestsAMinute,
    keyGenerator: (request) => `${procedureOf(request) === 'enrol' ? 'enrol' : 'any'} ${request.ip}`,
    errorResponseBuilder: tooMany,
  });
}

/** The name after the prefix; `none` for what is no procedure, so that nothing made up gets into log or counts. */
function procedureOf(request: FastifyRequest): string {
  const [path = ''] = request.url.split('?');
  const name = path.startsWith(`${PREFIX}/`) ? path.slice(PREFIX.length + 1) : '';
  return isProcedure(name) ? name : 'none';
}

function isOpen(procedure: string): boolean {
  return isProcedure(procedure) && PROCEDURES[procedure].roles === 'anyone';
}

/** The token of an authorisation header; null where there is none in the form of one. */
function tokenOf(header: string | undefined): string | null {
  const [scheme, token] = (header ?? '').split(' ');
  if (scheme?.toLowerCase() !== 'bearer') return null;
  const parsed = tokenSchema.safeParse(token);
  return parsed.success ? parsed.data : null;
}

/** @throws Refusal that tells the older side to update. */
function requireProtocol(header: string | string[] | undefined): void {
  const version = typeof header === 'string' && /^\d{1,6}$/.test(header) ? Number(header) : null;
  if (version === null) {
    throw new Refusal('wrong-input', `Name the version of the protocol in the header ${PROTOCOL_HEADER}.`);
  }
  if (version < OLDEST_PROTOCOL) {
    throw new Refusal(
      'protocol-too-old',
      `This service understands the protocol from version ${OLDEST_PROTOCOL} on. Update the clinic's program.`,
    );
  }
  if (version > PROTOCOL_VERSION) {
    throw new Refusal(
      'protocol-too-new',
      `This service understands the protocol up to version ${PROTOCOL_VERSION}. Ask whoever runs it to update it.`,
    );
  }
}

/** What the server itself refuses, beside what the router does. */
function refusalOfHttp(thrown: unknown): Refusal {
  if (thrown instanceof Refusal || thrown instanceof StoreError) return toRefusal(thrown);
  const code: unknown = Reflect.get(Object(thrown), 'code');
  if (code === 'FST_ERR_CTP_BODY_TOO_LARGE') return tooLarge();
  const status: unknown = Reflect.get(Object(thrown), 'statusCode');
  const zlib = typeof code === 'string' && code.startsWith('Z_');
  if (zlib || (typeof status === 'number' && status >= 400 && status < 500)) {
    return new Refusal(
      'wrong-input',
      'The body cannot be read. Send JSON, compressed with gzip or not at all.',
    );
  }
  return toRefusal(thrown);
}

function refuse(reply: FastifyReply, refusal: Refusal): FastifyReply {
  return reply.code(statusOf(refusal.code)).send(refusalBody(refusal));
}

/** Faults of the store and of the program itself, by code or by the kind of error; never by their words. */
function noteFault({ log }: ServiceOptions, thrown: unknown): void {
  if (thrown instanceof Refusal) return;
  const fault = thrown instanceof StoreError ? (thrown.driverCode ?? thrown.code) : nameOf(thrown);
  log.error('fault', { fault });
}

function nameOf(thrown: unknown): string {
  return thrown instanceof Error ? thrown.name : 'unknown';
}
