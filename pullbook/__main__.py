"""``python -m pullbook`` is the command ``pullbook``."""

from pullbook.commands.main import run

if __name__ == "__main__":
    run()
