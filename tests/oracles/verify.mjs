// Uses keys: reads {name: {key, passphrase}} as JSON from standard input (key: base64, binary; passphrase: null where there is none), signs
// and verifies, encrypts and decrypts with each, and writes {name: {sign, decrypt}}: "ok" or what went wrong.
import { readFileSync } from 'node:fs'
import * as openpgp from 'openpgp'

const TEXT = 'The bell buoy off the north mole is back on station.'
const config = { rejectCurves: new Set(), rejectPublicKeyAlgorithms: new Set(), enableParsingV5Entities: false }

async function signs (unlocked, publicKey) {
  const message = await openpgp.createMessage({ text: TEXT })
  const signature = await openpgp.readSignature({ armoredSignature: await openpgp.sign({ message, signingKeys: unlocked, detached: true, config }) })
  const { signatures } = await openpgp.verify({ message, signature, verificationKeys: publicKey, config })
  await signatures[0].verified
}

async function decrypts (unlocked, publicKey) {
  const encrypted = await openpgp.encrypt({ message: await openpgp.createMessage({ text: TEXT }), encryptionKeys: publicKey, config })
  const message = await openpgp.readMessage({ armoredMessage: encrypted })
  const { data } = await openpgp.decrypt({ message, decryptionKeys: unlocked, config })
  if (data !== TEXT) throw new Error('another text')
}

async function outcome (use) {
  try {
    await use()
    return 'ok'
  } catch (error) {
    return error.message
  }
}

async function verdict ({ key, passphrase }) {
  const privateKey = await openpgp.readPrivateKey({ binaryKey: new Uint8Array(Buffer.from(key, 'base64')), config })
  const unlocked = passphrase === null ? privateKey : await openpgp.decryptKey({ privateKey, passphrase, config })
  const publicKey = privateKey.toPublic()
  return {
    sign: await outcome(() => signs(unlocked, publicKey)),
    decrypt: await outcome(() => decrypts(unlocked, publicKey))
  }
}

const verdicts = {}
for (const [name, one] of Object.entries(JSON.parse(readFileSync(0, 'utf8')))) {
  verdicts[name] = await verdict(one).catch((error) => ({ sign: error.message, decrypt: error.message }))
}
process.stdout.write(JSON.stringify(verdicts))
