"""
Keyboards of four countries as they are printed: what a computer gets when a scanner presses the
keys of another one. Rows are those of the keys 1, Q, A and Z of the US, without and with Shift.
"""

KEYS = {
    "US": (
        *("1234567890-=", "qwertyuiop[]", "asdfghjkl;'", "zxcvbnm,./"),
        *("!@#$%^&*()_+", "QWERTYUIOP{}", 'ASDFGHJKL:"', "ZXCVBNM<>?"),
    ),
    "UK": (
        *("1234567890-=", "qwertyuiop[]", "asdfghjkl;'", "zxcvbnm,./"),
        *('!"£$%^&*()_+', "QWERTYUIOP{}", "ASDFGHJKL:@", "ZXCVBNM<>?"),
    ),
    "German": (
        *("1234567890ß´", "qwertzuiopü+", "asdfghjklöä", "yxcvbnm,.-"),
        *('!"§$%&/()=?`', "QWERTZUIOPÜ*", "ASDFGHJKLÖÄ", "YXCVBNM;:_"),
    ),
    "French": (
        *("&é\"'(-è_çà)=", "azertyuiop^$", "qsdfghjklmù", "wxcvbn,;:!"),
        *("1234567890°+", "AZERTYUIOP¨£", "QSDFGHJKLM%", "WXCVBN?./§"),
    ),
    # Letters and digits as in the US, / where the German one has it.
    "Spanish": (
        *("1234567890'¡", "qwertyuiop`+", "asdfghjklñ´", "zxcvbnm,.-"),
        *('!"·$%&/()=?¿', "QWERTYUIOP^*", "ASDFGHJKLÑ¨", "ZXCVBNM;:_"),
    ),
}


def typed(text, scanner, computer):
    """What arrives at a computer with one keyboard from a scanner that is set to another."""
    places = {
        character: (row, at)
        for row, characters in enumerate(KEYS[scanner])
        for at, character in enumerate(characters)
    }
    keys = [places.get(character) for character in text]
    return "".join(
        KEYS[computer][key[0]][key[1]] if key else character
        for key, character in zip(keys, text, strict=True)
    )
