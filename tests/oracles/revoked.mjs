// Tells whether certificates are revoked: reads {name: certificate} (base64, binary) as JSON from
// standard input and writes {name: true, false, or what went wrong}.
import { readFileSync } from 'node:fs'
import * as openpgp from 'openpgp'

const config = { ...openpgp.config, rejectCurves: new Set(), rejectPublicKeyAlgorithms: new Set() }

async function verdict (certificate) {
  try {
    const binaryKey = new Uint8Array(Buffer.from(certificate, 'base64'))
    const key = await openpgp.readKey({ binaryKey, config })
    return await key.isRevoked(null, null, new Date(Date.now() + 1000), config)
  } catch (error) {
    return error.message
  }
}

const given = JSON.parse(readFileSync(0, 'utf8'))
const verdicts = {}
for (const [name, certificate] of Object.entries(given)) verdicts[name] = await verdict(certificate)
process.stdout.write(JSON.stringify(verdicts))
