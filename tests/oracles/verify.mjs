// Uses keys: reads {name: {key, passphrase, certificate}} as JSON from standard input (key and
// certificate: base64, binary; passphrase: null where there is none; certificate: that of the key,
// may be left out), signs and verifies, encrypts and decrypts with each, and writes
// {name: {sign, decrypt}}: "ok" or what went wrong.
import { readFileSync } from 'node:fs'
import * as openpgp from 'openpgp'

const TEXT = 'The bell buoy off the north mole is back on station.'
const config = {
  rejectCurves: new Set(), rejectPublicKeyAlgorithms: new Set(), enableParsingV5Entities: false
}

async function signs (unlocked, publicKey) {
  const message = await openpgp.createMessage({ text: TEXT })
  const armoredSignature = await openpgp.sign({
    message, signingKeys: unlocked, detached: true, config
  })
  const signature = await openpgp.readSignature({ armoredSignature })
  const { signatures } = await openpgp.verify({
    message, signature, verificationKeys: publicKey, config
  })
  await signatures[0].verified
}

async function decrypts (unlocked, publicKey) {
  const clear = await openpgp.createMessage({ text: TEXT })
  const encrypted = await openpgp.encrypt({ message: clear, encryptionKeys: publicKey, config })
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

async function verdict ({ key, passphrase, certificate }) {
  const binaryKey = new Uint8Array(Buffer.from(key, 'base64'))
  const privateKey = await openpgp.readPrivateKey({ binaryKey, config })
  const unlocked = passphrase === null
    ? privateKey
    : await openpgp.decryptKey({ privateKey, passphrase, config })
  const publicKey = certificate
    ? await openpgp.readKey({ binaryKey: new Uint8Array(Buffer.from(certificate, 'base64')), config })
    : privateKey.toPublic()
  return {
    sign: await outcome(() => signs(unlocked, publicKey)),
    decrypt: await outcome(() => decrypts(unlocked, publicKey))
  }
}

const verdicts = {}
for (const [name, given] of Object.entries(JSON.parse(readFileSync(0, 'utf8')))) {
  verdicts[name] = await verdict(given)
    .catch((error) => ({ sign: error.message, decrypt: error.message }))
}
process.stdout.write(JSON.stringify(verdicts))
