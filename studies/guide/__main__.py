"""Run the guide's examples and build its site: `python -m domemargin.studies.guide`."""

from domemargin.studies.guide.build import main

if __name__ == "__main__":
    main()
