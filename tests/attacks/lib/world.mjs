// The server under attack: two clinics, somebody of every role in each, and every operation with a request
// that would succeed.
import assert from 'node:assert/strict';
import {Client} from '../../api/lib/client.mjs';
import {Clinic, ROLES, signIn} from '../../api/lib/clinic.mjs';
import {document, operations} from '../../api/lib/contract.mjs';
import {Installation} from '../../api/lib/installation.mjs';
import {filled, hasRecipe, recipeOf} from '../../api/lib/recipes.mjs';
import {isBusy, patiently} from './patience.mjs';

/** Who attacks first, where several roles may use an operation: whoever reaches most. */
const BY_REACH = ['clinician', 'physician', 'administrator', 'auditor', 'integration', 'room', 'referrer'];

const SAFE = ['GET', 'HEAD'];

/** A documented operation, as the attacks need it. */
class Operation {
  constructor({method, path, operation}, route) {
    const {isPublic, roles} = route;
    Object.assign(this, {key: `${method} ${path}`, method, path, isPublic, roles, documented: operation});
    this.isSafe = SAFE.includes(method);
    const common = document.paths[path].parameters ?? [];
    const parameters = [...common, ...(operation.parameters ?? [])].map(({$ref, ...own}) =>
      $ref === undefined ? own : document.components.parameters[$ref.split('/').pop()],
    );
    const namesIn = (place) => parameters.filter((one) => one.in === place).map(({name}) => name);
    this.queryNames = namesIn('query');
    this.headerNames = namesIn('header').map((name) => name.toLowerCase());
    this.pathNames = [...path.matchAll(/\{([^}]*)\}/g)].map(([, name]) => name);
    this.schema = operation.requestBody?.content['application/json']?.schema;
  }

  /** Media types of its answer. */
  get produces() {
    const answers = Object.entries(this.documented.responses).filter(([status]) => status.startsWith('2'));
    return [...new Set(answers.flatMap(([, {content = {}}]) => Object.keys(content)))];
  }
}

export class World {
  static async open() {
    const world = new World();
    // What a recipe makes is counted: a request of it that was refused comes again, not the whole recipe.
    Client.persist = (send) => patiently(send, isBusy);
    world.installation = await Installation.create('attacks');
    world.url = await world.installation.start();
    world.own = await Clinic.open(world.installation, 'Clinic under attack');
    world.other = await Clinic.open(world.installation, 'Neighbouring clinic');
    world.routes = await world.readRoutes();
    world.operations = operations.map((one) => {
      const route = world.routes.find(({key}) => key === `${one.method} ${one.path}`);
      assert.ok(route, `${one.method} ${one.path} is documented and not served`);
      return new Operation(one, route);
    });
    world.sessions = {};
    await world.learnCallers();
    return world;
  }

  /** Which operations are for people and not for programs; also makes what recipes make only once. */
  async learnCallers() {
    for (const operation of this.operations.filter(({key}) => hasRecipe(key))) {
      const role = this.roleFor(operation);
      for (const clinic of [this.own, this.other]) {
        const {status, tokenStatus} = (await this.prepare(operation, clinic)).recipe;
        operation.isForPeople = tokenStatus !== status && [403, 404].includes(tokenStatus);
        if (operation.isForPeople) {
          await clinic.person(role);
        }
      }
    }
  }

  /** Operations that nothing here can attack, with what is missing. */
  unattacked() {
    const documented = new Set(this.operations.map(({key}) => key));
    const undocumented = this.routes.filter(({key, path}) => path.startsWith('/v1/') && !documented.has(key));
    return [
      ...undocumented.map(({key}) => `${key}: not in api-docs/openapi.json`),
      ...this.operations.filter(({key}) => !hasRecipe(key)).map(({key}) => `${key}: no request in tests/api/lib/recipes.mjs`),
    ];
  }

  async readRoutes() {
    return (await this.installation.program(['routes'])).split('\n').map((line) => {
      const [method, path, roles = ''] = line.split(' ');
      return {key: `${method} ${path}`, method, path, isPublic: roles === 'public', roles: roles.split(',')};
    });
  }

  /** A role that may use an operation; undefined when no credential is needed. */
  roleFor({isPublic, roles}) {
    return isPublic ? undefined : BY_REACH.find((role) => roles.includes(role));
  }

  rolesAgainst({isPublic, roles}) {
    return isPublic ? [] : ROLES.filter((role) => !roles.includes(role));
  }

  /** A client who may use an operation. */
  allowed(operation, clinic = this.own) {
    const role = this.roleFor(operation);
    if (role === undefined) {
      return new Client(this.url);
    }
    return operation.isForPeople ? clinic.people[role] : clinic.as(role);
  }

  /** The same for an operation on what only a person has: a session, a password. */
  async allowedPerson(operation) {
    const {tokenStatus, status} = await recipeOf(this.own, operation.key, this.roleFor(operation));
    if (this.roleFor(operation) === undefined || operation.isForPeople || tokenStatus === status) {
      return this.allowed(operation);
    }
    return Client.withSession(this.url, (await this.session(this.roleFor(operation))).cookie);
  }

  /** The cookie of somebody with a role, who signs in once. */
  async session(role, clinic = this.own) {
    const key = `${clinic.id} ${role}`;
    this.sessions[key] ??= (async () => {
      const user = await clinic.addUser([role]);
      const signedIn = await signIn(this.url, user.username, user.password);
      return {user, ...signedIn};
    })();
    return this.sessions[key];
  }

  /** A request that would succeed: recipe and target. */
  async prepare(operation, clinic = this.own) {
    const recipe = await recipeOf(clinic, operation.key, this.roleFor(operation));
    return {...recipe, recipe, target: filled(operation.path, recipe)};
  }

  /** The target with something else in the place of a path parameter. */
  targetWith(operation, {recipe}, name, value) {
    return filled(operation.path, {...recipe, parameters: {...recipe.parameters, [name]: value}});
  }

  /** Sends a prepared request with changes; the answer is checked against the contract. */
  async send(client, operation, request, changes = {}) {
    const {target, json, body, headers} = {...request, ...changes};
    return client.request(operation.method, target, {json, body, headers});
  }

  /** Tables, columns, functions, policies, rights and roles as one digest. */
  async schemaDigest() {
    const [{digest}] = await this.installation.rows(`
      select md5(concat(
        (select string_agg(c::text, ',' order by c.oid) from (select oid, relname, relkind, relacl, relrowsecurity,
            relforcerowsecurity from pg_class where relnamespace = 'penstock'::regnamespace) c),
        (select string_agg(concat(attrelid, attname, atttypid), ',' order by attrelid, attnum) from pg_attribute
          where attrelid in (select oid from pg_class where relnamespace = 'penstock'::regnamespace)),
        (select string_agg(md5(prosrc), ',' order by oid) from pg_proc where pronamespace = 'penstock'::regnamespace),
        (select string_agg(concat(polname, polrelid), ',' order by oid) from pg_policy),
        (select string_agg(rolname, ',' order by oid) from pg_roles
          where rolname not like 'penstock\\_test\\_%'), -- of other tests, which run side by side
        (select count(*) from pg_namespace where nspname !~ '^pg_(toast_)?temp'))) as digest`);
    return digest;
  }

  /** Nothing of what `act` tries may change anything. */
  async unchanged(tally, act) {
    const before = await this.look();
    await act();
    this.compare(tally, before, await this.look());
  }

  async look() {
    return {...(await this.installation.contents()), schema: await this.schemaDigest()};
  }

  compare(tally, before, after) {
    for (const [name, value] of Object.entries(after)) {
      if (value !== before[name]) {
        tally.worked('after all attempts', `${name} was ${before[name]} and is ${value}`);
      }
    }
  }
}
