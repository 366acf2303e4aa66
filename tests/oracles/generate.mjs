// Generates keys: reads {name: {options, config}} as JSON from standard input, writes
// {name: {secret, public}} (ASCII armor).
import { readFileSync } from 'node:fs'
import * as openpgp from 'openpgp'

const wanted = JSON.parse(readFileSync(0, 'utf8'))
const made = {}
for (const [name, { options, config = {} }] of Object.entries(wanted)) {
  const date = options.date && new Date(options.date)
  const { privateKey } = await openpgp.generateKey({
    ...options, date, format: 'object', config: { rejectCurves: new Set(), ...config }
  })
  made[name] = { secret: privateKey.armor(), public: privateKey.toPublic().armor() }
}
process.stdout.write(JSON.stringify(made))
