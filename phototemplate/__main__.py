"""``python -m phototemplate``"""

from phototemplate.cli import main

if __name__ == "__main__":
    main()
